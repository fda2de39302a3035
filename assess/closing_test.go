package assess_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"vibe/assess"
	"vibe/dsp"
)

// A recording that ends with the lathe switched off keeps the advice of its last turns; a
// break longer than a lathe takes to stop does not.
func TestClosingAdvice(t *testing.T) {
	t.Parallel()
	ok := assess.Reading{OK: true, Speed: 600, Shake: 1, Feel: assess.Calm}
	off := assess.Reading{Faults: []dsp.Fault{dsp.NoTurn}}
	raise, wait := assess.Advice{Action: assess.Raise, Speed: 660, Say: "Raise to 660 rpm."}, assess.Advice{Action: assess.Wait}
	stop := assess.Advice{Action: assess.Stop, Say: "Stop."}
	at := func(r assess.Reading, t float64) assess.Reading { r.T = t; return r }
	slowing := assess.Reading{Speed: 300, Faults: []dsp.Fault{dsp.Changing}}
	blind := assess.Reading{Speed: 600, Faults: []dsp.Fault{dsp.Clipped}}
	type step struct {
		r assess.Reading
		a assess.Advice
	}
	vague := func(n int, before ...step) []step {
		for range n {
			before = append(before, step{at(assess.Reading{Speed: 400, Faults: []dsp.Fault{dsp.Doubtful}}, 1.5), wait})
		}
		for i := range n + 3 {
			before = append(before, step{at(off, 2+float64(i)), wait})
		}
		return before
	}
	// coasted is a run-down in which every third reading is seen to change.
	coasted := func(n int) []step {
		steps := []step{{at(ok, 1), raise}}
		for i := range n {
			r := slowing
			if i%3 > 0 {
				r = assess.Reading{Speed: 400, Faults: []dsp.Fault{dsp.Doubtful}}
			}
			steps = append(steps, step{at(r, 1.25+0.25*float64(i)), wait})
		}
		for i := range n + 3 {
			steps = append(steps, step{at(off, 2+0.25*float64(n+i)), wait})
		}
		return steps
	}
	// noise is n times off, then four vague readings, then off again.
	noise := func(n int) []step {
		steps := []step{{at(ok, 1), raise}}
		for i := range n + 20 {
			r := off
			if i >= n && i < n+4 {
				r = assess.Reading{Speed: 1900, Faults: []dsp.Fault{dsp.Weak}}
			}
			steps = append(steps, step{at(r, 2+0.25*float64(i)), wait})
		}
		return steps
	}
	// long is at rest, felt for 2 s and then under a neighbour's noise.
	long := func(last assess.Advice) []step {
		steps := []step{{at(ok, 1), last}}
		for i := range 30 {
			r := off
			if i >= 8 && i < 29 {
				r = assess.Reading{Speed: 1900, Faults: []dsp.Fault{dsp.Weak}}
			}
			steps = append(steps, step{at(r, 2+0.25*float64(i)), wait})
		}
		return steps
	}
	for name, c := range map[string]struct {
		steps []step
		want  assess.Action
	}{
		"still turning":      {[]step{{at(ok, 1), raise}, {at(slowing, 2), wait}}, assess.Wait},
		"switched off":       {[]step{{at(ok, 1), raise}, {at(slowing, 2), wait}, {at(off, 6), wait}, {at(off, 60), wait}}, assess.Raise},
		"stopped in alarm":   {[]step{{at(ok, 1), raise}, {at(slowing, 2), stop}, {at(off, 6), wait}}, assess.Stop},
		"long unknown":       {[]step{{at(ok, 1), raise}, {at(slowing, 2), wait}, {at(off, 30), wait}}, assess.Wait},
		"blind before":       {[]step{{at(ok, 1), raise}, {at(blind, 2), wait}, {at(off, 6), wait}}, assess.Wait},
		"started once more":  {[]step{{at(ok, 1), raise}, {at(off, 2), wait}, {at(ok, 9), wait}, {at(off, 10), wait}}, assess.Wait},
		"coasted":            {coasted(15), assess.Raise},
		"hardly vague":       {vague(3, step{at(ok, 1), raise}), assess.Raise},
		"vague":              {vague(4, step{at(ok, 1), raise}), assess.Wait},
		"vague after a stop": {vague(4, step{at(ok, 1), stop}), assess.Stop},
		"noise at rest":      {noise(8), assess.Raise},
		"not yet at rest":    {noise(7), assess.Wait},
		"long noise":         {long(raise), assess.Wait},
		"noise after a stop": {long(stop), assess.Stop},
		"never turned":       {[]step{{at(off, 1), wait}}, assess.Wait},
		"turned on and left": {[]step{{at(off, 1), wait}, {at(ok, 5), raise}}, assess.Raise},
	} {
		var closing assess.Closing
		for _, s := range c.steps {
			closing.See(s.r, s.a)
		}
		d := closing.Advice(func(float64) string { return "then" })
		assert.Equal(t, c.want, d.Action, name)
		rest := c.steps[len(c.steps)-1].r.Has(dsp.NoTurn)
		assert.Equal(t, rest && d.Action == assess.Raise, d.Say == "Next time: raise to 660 rpm.", name)
	}
}
