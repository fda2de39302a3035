package main

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// megabytes is how much TestFlatMemory reads; -megabytes 2000 is the size to believe.
var megabytes = flag.Int("megabytes", 8, "how much CSV TestFlatMemory reads")

// gauge counts what passes and remembers the largest heap, looked at every megabyte.
type gauge struct {
	io.Reader
	read, next int
	peak       uint64
}

func (g *gauge) Read(p []byte) (int, error) {
	n, err := g.Reader.Read(p)
	if g.read += n; g.read >= g.next {
		g.next = g.read + 1<<20
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		g.peak = max(g.peak, m.HeapAlloc)
	}
	return n, err
}

// A recording is streamed: the heap stays below a bound that has nothing to do with its
// length. 48 MB is several times what was seen (chosen), and a fortieth of 2 GB.
func TestFlatMemory(t *testing.T) {
	const row = 30 // bytes of CSV, about
	in := &gauge{Reader: &sine{hz: 10, rows: *megabytes << 20 / row}}
	var out, msg bytes.Buffer
	require.Zero(t, run(t.Context(), []string{"read", "-", "--diameter", "200mm"}, in, &out, &msg), msg.String())
	assert.Less(t, in.peak, uint64(48<<20))
	assert.Contains(t, out.String(), "600 ")
	t.Logf("%d MB read, largest heap %d kB", in.read>>20, in.peak>>10)
}

// An error in the middle leaves nothing on standard output, however much was read before.
func TestNothingHalfWritten(t *testing.T) {
	t.Parallel()
	in := io.MultiReader(&sine{hz: 10, rows: 20000}, strings.NewReader("20.000,oops,0,0\n20.001,0,0,0\n"))
	code, out, msg := vibe(t, in, "read", "-", "--json")
	assert.Equal(t, 1, code)
	assert.Empty(t, out)
	assert.Contains(t, msg, "vibe: standard input:20002:8: ")
}

// A full disk or a closed pipe is an error like any other.
func TestUnwritable(t *testing.T) {
	t.Parallel()
	r, w, err := os.Pipe()
	require.NoError(t, err)
	require.NoError(t, r.Close())
	require.NoError(t, w.Close())
	for _, args := range []string{"", "plan --diameter 310mm", "plan --diameter 310mm --json"} {
		var msg bytes.Buffer
		assert.Equal(t, 1, run(t.Context(), strings.Fields(args), nil, w, &msg), args)
		assert.Contains(t, msg.String(), "vibe: ", args)
	}
}

// sine is a lathe turning at hz, from its headstock's point of view, as endless CSV at
// 1000 samples a second; after rows of it the data end.
type sine struct {
	hz   float64
	rows int
	at   int
	rest []byte
	rand *rand.Rand
}

func (s *sine) Read(p []byte) (int, error) {
	if s.at == 0 {
		s.rest = []byte("t_s,x_m/s2,y_m/s2,z_m/s2\n")
		s.rand = rand.New(rand.NewPCG(1, 1))
	}
	for len(s.rest) < len(p) && s.at < s.rows {
		t := float64(s.at) / 1000
		a := 2 * math.Pi * s.hz * t
		noise := func() float64 { return 0.02 * s.rand.NormFloat64() }
		s.rest = fmt.Appendf(s.rest, "%.3f,%.4f,%.4f,%.4f\n", t, 0.4*math.Cos(a)+noise(), 9.81+0.2*math.Sin(a)+noise(), noise())
		s.at++
	}
	if len(s.rest) == 0 {
		return 0, io.EOF
	}
	n := copy(p, s.rest)
	s.rest = s.rest[n:]
	return n, nil
}
