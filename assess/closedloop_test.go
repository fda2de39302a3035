package assess_test

import (
	"flag"
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/assess"
)

// shops is how many random shops the closed loop tries: few in every run, 2000 and more
// with go test ./assess -run ClosedLoop -v -shops 2000 -timeout 1h.
var shops = flag.Int("shops", 3, "random shops in the closed loop")

const sessionSeconds = 300

// tally counts what came of the sessions.
type tally struct {
	sessions, near, slow, falseStops int // quiet ones
	loosened, caught                 int // those in which something came loose
	unsafe                           int // of both
}

// TestClosedLoop lets a turner obey the advice in random shops: lathes of two modes, dials
// that lie by up to 5 %, sensors that lose readings in bursts or give wrong numbers with a
// fault, cuts that wander, tools that catch, wood coming off; then once more with something coming loose. No
// advice may be unsafe by the truth: a raise over what is rough, a speed over a ceiling.
func TestClosedLoop(t *testing.T) {
	t.Parallel()
	var sum tally
	for seed := range uint64(*shops) {
		sum.quiet(t, seed)
		sum.loose(t, seed)
	}
	share := func(n, of int) float64 { return 100 * float64(n) / float64(max(of, 1)) }
	t.Logf("unsafe advice in %d sessions", sum.unsafe)
	t.Logf("%d quiet sessions: within 10 %% of the fastest comfortable speed %.1f %%, slower %.1f %%, false stops %.1f %%",
		sum.sessions, share(sum.near, sum.sessions), share(sum.slow, sum.sessions), share(sum.falseStops, sum.sessions))
	t.Logf("%d sessions with something loose: stopped within 4 s of 1.6 times %.1f %%", sum.loosened, share(sum.caught, sum.loosened))
	assert.Zero(t, sum.unsafe)
	if *shops >= 300 {
		assert.GreaterOrEqual(t, share(sum.near, sum.sessions), 95.0)
		assert.GreaterOrEqual(t, share(sum.caught, sum.loosened), 99.0)
		assert.LessOrEqual(t, share(sum.falseStops, sum.sessions), 0.5)
	}
}

// opened is a shop whose plan has a speed to start at and whose blank the sensor sees.
func opened(seed uint64) (*shop, assess.Plan, bool) {
	s := newShop(seed)
	p, err := assess.MakePlan(s.lathe, s.blank, s.task)
	if err != nil || p.Start == 0 {
		return nil, p, false
	}
	s.visible(p.Start)
	return s, p, true
}

func (sum *tally) quiet(t *testing.T, seed uint64) {
	s, p, ok := opened(seed)
	if !ok {
		return
	}
	sum.sessions++
	top := p.Ceilings[0].RPM
	o := s.run(sessionSeconds, p.Start, top)
	sum.judge(t, seed, o)
	switch best := s.fastest(o.started, top); {
	case o.stopped != "" && best == 0, o.stopped == "" && o.speed >= 0.9*best:
		sum.near++
	case o.stopped != "":
		sum.falseStops++
		t.Logf("shop %d: %q, though %.0f rpm is fine", seed, o.stopped, best)
	default:
		sum.slow++
		t.Logf("shop %d: ended at %.0f of %.0f rpm, %.1f mm/s; %s", seed, o.speed, best, s.truth(o.speed), o.said)
	}
}

// judge counts a session with advice that the truth calls unsafe.
func (sum *tally) judge(t *testing.T, seed uint64, o outcome) {
	if len(o.unsafe) > 0 {
		sum.unsafe++
		t.Logf("shop %d: unsafe %q", seed, o.unsafe[0])
	}
}

func (sum *tally) loose(t *testing.T, seed uint64) {
	s, p, ok := opened(seed)
	if !ok {
		return
	}
	s.loosenAt, s.loosening = sessionSeconds-50+10*s.Float64(), 0.02+0.2*s.Float64()
	o := s.run(sessionSeconds, p.Start, p.Ceilings[0].RPM)
	sum.judge(t, seed, o)
	if o.grown == 0 || o.grown > sessionSeconds-4 || o.stopped != "" && o.stoppedAt < s.loosenAt {
		return
	}
	sum.loosened++
	if o.stopped != "" && o.stoppedAt < o.grown+4.01 {
		sum.caught++
		return
	}
	t.Logf("shop %d: loosening by %.1f %% a second, 1.6 times at %.1f s, stopped at %.1f s; %s", seed, 100*s.loosening, o.grown, o.stoppedAt, o.said)
}
