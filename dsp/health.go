package dsp

import (
	"math"
	"slices"

	"github.com/viterin/vek"
)

// health is what the samples of a window say about the sensor.
type health struct {
	dt      float64 // s, usual interval
	missing float64 // fraction of samples missing, or that a clock of coarse ticks makes look so
	holes   bool    // much is missing, and no such clock explains it
	step    float64 // m/s², 0 if none was found
	clipped bool
	stuck   bool
	filled  float64    // Hz, at most the sensor's own rate where rows were filled in between; 0 where none were
	dead    [3]bool    // the axis says the same all the time
	stays   [3]float64 // s, for how long the axis has said the same
	stayed  [3]float64 // s, the longest that it did before
}

const (
	stuckSamples = 10   // this many equal rows in a row, and
	stuckSeconds = 0.15 // lasting so long, are a stuck sensor (chosen: half a turn at 200 rpm)
)

// inspect looks at samples t, x of one window. limit is the end of the sensor's range in
// m/s², 0 if unknown, tick what the clock counts in, s.
func (h *health) inspect(t []float64, x [][]float64, dt, tick, limit float64, sort *[]float64) {
	*h = health{dt: dt, step: stepOf(x, sort)}
	h.times(t, tick)
	h.repeats(t, x)
	h.filled = bent(x, h.step, sort) / dt
	for a := range x {
		if !h.dead[a] && pressed(x[a], limit, h.step) {
			h.clipped = true
		}
	}
}

func (h *health) times(t []float64, tick float64) {
	const few = 20 // that chance may spread as evenly as rounding does. Chosen: of twenty less than once in ten thousand times, by trial
	n, whole := intervals(t, h.dt), float64(len(t)-1)
	if n == 0 {
		return
	}
	h.missing = 1 - whole/n
	h.holes = h.missing > missingMuch && (n-whole < few || h.missing > missingMost || !rounds(t, tick))
}

// rounds reports whether a clock that counts in ticks can have told the times t of even samples: each is a tick off at most, and so
// are the first and the last, from which the others are judged.
func rounds(t []float64, tick float64) bool {
	most, least, step := 0.0, 0.0, (t[len(t)-1]-t[0])/float64(len(t)-1)
	for i, u := range t {
		off := u - t[0] - float64(i)*step
		most, least = max(most, off), min(least, off)
	}
	return most-least < 2*tick
}

// repeats finds rows that repeat for long, and axes that never change.
func (h *health) repeats(t []float64, x [][]float64) {
	still := true // for long, each axis
	for a, v := range x {
		run, longest := 0, 0 // samples: where the last alike begin, and the most before
		for i := 1; i < len(v); i++ {
			if v[i] != v[i-1] {
				longest, run = max(longest, i-run), i
			}
		}
		h.dead[a] = run == 0
		h.stays[a], h.stayed[a] = t[len(t)-1]-t[run], float64(longest-1)*h.dt
		still = still && max(longest, len(v)-run) > stuckSamples
	}
	if !still {
		return
	}
	first := 0
	for i := 1; i < len(t); i++ {
		if !repeated(x, i) {
			first = i
		} else if i-first >= stuckSamples && t[i]-t[first] > stuckSeconds {
			h.stuck = true
		}
	}
}

// bent returns the share of the rows of x at which the straight lines between the sensor's own rows meet, where
// somebody drew such lines to fill in rows between each two; 0 where nobody did. Between, three rows in a
// row are straight but for the rounding of their last digit, and where lines meet they are not; of what no line was
// drawn through half is never that straight, nor every second row, but for a tone at a quarter of the rate.
func bent(x [][]float64, step float64, sort *[]float64) float64 {
	const (
		most, least = 0.4, 0.05 // share of the rows. Chosen: 2 to 19 filled in between each two
		sharp       = 20.0      // times the bend of half of the rows. Chosen: noise does not reach 10
		flat        = 0.1       // of what half of the rows rise. Chosen: noise bends more than it rises
	)
	from := max(0, len(x[0])-160)
	across := func(left, mid, right float64) []float64 { // so many times each of three rows
		d := (*sort)[:0]
		for i := from + 1; i+1 < len(x[0]); i++ {
			size := 0.0
			for _, v := range x {
				size = max(size, math.Abs(left*v[i-1]+mid*v[i]+right*v[i+1]))
			}
			d = append(d, size)
		}
		*sort = d
		return d
	}
	bends := across(1, -2, 1)
	if len(bends) < 40 {
		return 0
	}
	if secondFlat(bends, sharp) && !quarter(x, from+1) {
		return 0.5
	}
	top, alike := vek.Max(bends), 0
	for _, bend := range bends {
		if sharp*bend >= top {
			alike++
		}
	}
	if 2*alike > len(bends) { // none is that sharp, as in noise
		return 0
	}
	usual := median(bends)
	n := 0.0
	for _, bend := range bends {
		if bend > sharp*max(usual, step/2, 1e-7) {
			n++
		}
	}
	share := n / float64(len(bends))
	if share < least || share > most || usual > flat*median(across(-1, 0, 1)) {
		return 0
	}
	return share
}

// secondFlat reports whether every second of bends is flat, and most of the others are sharp times as large as any of those.
func secondFlat(bends []float64, sharp float64) bool {
	var tops [2]float64
	for i, bend := range bends {
		tops[i%2] = max(tops[i%2], bend)
	}
	least, n := max(min(tops[0], tops[1]), 1e-7), 0
	for _, bend := range bends {
		if bend > sharp*least {
			n++
		}
	}
	return 4*n > len(bends)
}

// quarter reports whether the rows of x bend there and back in turn, from row i on: a tone at a quarter of their rate, as hum may be, bends
// in every second row alone as well, but by as much to the other side each time.
func quarter(x [][]float64, i int) bool {
	const little = 0.1 // of the bends' power. Chosen
	both, each := 0.0, 0.0
	for _, v := range x {
		for i := i; i+3 < len(v); i++ {
			here, next := v[i-1]-2*v[i]+v[i+1], v[i+1]-2*v[i+2]+v[i+3]
			both += (here + next) * (here + next)
			each += here*here + next*next
		}
	}
	return both < little*each
}

// repeated reports whether row i of x equals the one before.
func repeated(x [][]float64, i int) bool {
	for _, v := range x {
		if v[i] != v[i-1] {
			return false
		}
	}
	return true
}

// stepOf returns the step of the sensor in m/s²: the smallest difference between
// neighbouring samples, if all differences are whole multiples of it within 5 % of a step
// on at least one axis, and no value lies between; 0 if there is none. For numbers with no step the differences over
// the smallest are spread evenly, and of n at most a tenth would fit.
func stepOf(x [][]float64, sort *[]float64) float64 {
	const most = 256
	found := 0.0
	for a := range x {
		v := x[a][max(0, len(x[a])-most):]
		d := (*sort)[:0]
		for i := 1; i < len(v); i++ {
			if e := math.Abs(v[i] - v[i-1]); e > 1e-7 {
				d = append(d, e)
			}
		}
		*sort = d
		if len(d) == 0 {
			continue
		}
		// The smallest difference carries the rounding of its last digit: take the mean of
		// the small ones.
		least, sum, n := vek.Min(d), 0.0, 0
		for _, e := range d {
			if e < 1.5*least {
				sum, n = sum+e, n+1
			}
		}
		step, amiss := sum/float64(n), 0
		for _, e := range d {
			if r := e / step; math.Abs(r-math.RoundToEven(r)) >= 0.05 {
				if amiss++; amiss*20 > len(d) {
					break
				}
			}
		}
		if len(d) >= 8 && amiss*20 <= len(d) && step > found && stepsOnly(append(d[:0], v...), step) {
			found = step
		}
	}
	return found
}

// stepsOnly reports whether v, which it may sort, has no more different values than there are steps in its span. Hum
// at a quarter of the rate jumps by the same from sample to sample as well, but nothing keeps its noise to steps.
func stepsOnly(v []float64, step float64) bool {
	most := 1.05*(vek.Max(v)-vek.Min(v))/step + 2
	if float64(len(v)) < most {
		return true
	}
	slices.Sort(v)
	values := 1
	for i := 1; i < len(v); i++ {
		if v[i]-v[i-1] > 1e-7 {
			values++
		}
	}
	return float64(values) < most
}

// pressed reports whether v stands against an end of the range: two samples at limit, if that is known, or
// a pile at its own extreme. The top 1 % of the span of a sine holds 1.4 times as many
// samples as the next 2 % (arcsine law), a clipped one many times as many; three times and
// runs of equal extremes are taken as clipped, or, where a fast tone leaves no runs, three times as many equal
// extremes as rounding makes of a sine's crest, √(2·step/span)/π of all. With a step above 1/30 of the span the
// crest of any sine looks flat, so nothing is said.
func pressed(v []float64, limit, step float64) bool {
	if len(v) < 30 {
		return false
	}
	if limit > 0 {
		n := 0
		for _, x := range v {
			if math.Abs(x) >= 0.999*limit {
				n++
			}
		}
		if n >= 2 {
			return true
		}
	}
	lo, hi := vek.Min(v), vek.Max(v)
	span := hi - lo
	if !(span > 0) || step > span/30 {
		return false
	}
	band := max(span/100, step)
	for _, end := range []float64{lo, hi} {
		if vek.Find(v[vek.Find(v, end)+1:], end) < 0 { // a shortcut: one alone is no pile
			continue
		}
		run, runs, equal := 0, 0, 0
		for _, x := range v {
			if x != end {
				run = 0
				continue
			}
			run, equal = run+1, equal+1
			runs = max(runs, run)
		}
		piled := float64(equal) > max(10, 3*float64(len(v))*math.Sqrt(2*step/span)/math.Pi)
		if runs < 3 && !piled {
			continue
		}
		top, next := 0, 0
		for _, x := range v {
			switch d := math.Abs(x - end); {
			case d < band*0.99:
				top++
			case d < 3*band*0.99:
				next++
			}
		}
		if top > 6 && top > 3*next {
			return true
		}
	}
	return false
}

// held reports whether most rows repeat the one before although the changes are many steps
// big: a slow sensor read too often. It goes by the last rows, or by as many as hold enough changes. fresh and sort are work space.
func held(x [][]float64, fresh *[3][]float64, sort *[]float64) bool {
	const (
		last   = 400 // rows. Chosen
		enough = 10  // Chosen: of fewer a median says little
	)
	from, changes := len(x[0]), 0
	for from > 1 && (len(x[0])-from < last-1 || changes < enough) {
		from--
		if !repeated(x, from) {
			changes++
		}
	}
	rows := len(x[0]) - from
	if rows < 39 || changes < enough || float64(changes) > 0.7*float64(rows) {
		return false
	}
	for a, v := range x {
		fresh[a] = append(fresh[a][:0], v[from-1])
	}
	for i := from; i < len(x[0]); i++ {
		if !repeated(x, i) {
			for a, v := range x {
				fresh[a] = append(fresh[a], v[i])
			}
		}
	}
	x = fresh[:len(x)]
	step := stepOf(x, sort)
	d := (*sort)[:0]
	for i := 1; i < len(x[0]); i++ {
		size := 0.0
		for a := range x {
			size = max(size, math.Abs(x[a][i]-x[a][i-1]))
		}
		d = append(d, size)
	}
	*sort = d
	return median(d) > 4*step
}

// dither returns the least standard deviation of Gaussian noise, m/s², that explains a mean square of left, (m/s²)², beside
// a sine of amplitude amp in samples rounded to steps.
//
// Rounding itself leaves q²/12 + (q²/π²)·Σ_m (±1/m²)·Φ_m, and what it has in common with the noise makes that
// σ²·(1 + 4·Σ_m ±Φ_m), Φ_m = J₀(2πmA/q)·exp(−2π²m²σ²/q²) (Widrow and Kollár, Quantization Noise, 2008, ch. 4 to 6 and
// app. G; from memory). Here three terms, all as large as they can be, with |J₀(z)| ≤ 1 and √(2/πz) (Abramowitz and
// Stegun, eq. 9.2.1).
func dither(left, amp, step float64) float64 {
	noise := 0.0 // σ²/q²
	for range 12 {
		rounding, common := 1.0/12, 0.0
		for m := 1.0; m <= 3; m++ {
			phi := min(1, 1/(math.Pi*math.Sqrt(m*amp/step))) * math.Exp(-2*math.Pi*math.Pi*m*m*noise)
			rounding += phi / (math.Pi * math.Pi * m * m)
			common += phi
		}
		noise = max(0, left/(step*step)-rounding) / (1 + 4*common)
	}
	return step * math.Sqrt(noise)
}

// stepBias bounds the relative error that rounding to steps leaves in the amplitude of a
// sine of amplitude amp (m/s² peak) in Gaussian noise of standard deviation sigma.
//
// The fundamental of a rounded sine is A + Σ_m (±2q/πm)·J₁(2πmA/q), and Gaussian noise
// multiplies term m by exp(−2π²m²σ²/q²) (Widrow and Kollár, Quantization Noise, 2008, ch. 4 and
// app. G; from memory). Here three terms, all as bad as they can be, with |J₁(z)| ≤ 0.826/√z,
// z/2 and 0.582 (Abramowitz and Stegun, Table 9.1 and eq. 9.2.1).
func stepBias(amp, step, sigma float64) float64 {
	if step == 0 || amp <= 0 {
		return 0
	}
	sum := 0.0
	for m := 1.0; m <= 3; m++ {
		z := 2 * math.Pi * m * amp / step
		bessel := min(0.826/math.Sqrt(z), z/2, 0.582)
		noise := m * sigma / step
		sum += 2 * step / (math.Pi * m) * bessel * math.Exp(-2*math.Pi*math.Pi*noise*noise)
	}
	return sum / amp
}
