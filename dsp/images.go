package dsp

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
)

// toldApart is the difference in χ² at which uneven times tell a frequency from its image:
// chance reaches 30 with probability 3e-7 (two Gaussian numbers). Chosen.
const toldApart = 30.0

// fold returns where frequency f shows in even samples: |f − m·rate|, m whole.
func (tr *Tracker) fold(f float64) float64 {
	rate := 1 / tr.dt
	return math.Abs(f - rate*math.Round(f/rate))
}

// images compares the fit just made with fits at the other frequencies that even samples could
// not tell from it, all in the range that is searched. Uneven times do tell: the best one is
// kept in tr.fit. It reports whether another is as good.
func (tr *Tracker) images(c hypothesis, now, seconds float64) bool {
	low, high := tr.bounds()
	rate, f, drift := 1/tr.dt, tr.fit.f, tr.fit.drift
	same := false
	for m := 1.0; m*rate-f < high; m++ {
		for side, g := range [2]float64{m*rate - f, m*rate + f} {
			if g < low || g > high || math.Abs(g-f)*seconds < 2 {
				continue
			}
			bend := drift
			if side == 0 {
				bend = -drift
			}
			if !tr.fitLine(&tr.probe, c.look, g, bend, now, seconds, 1, maxMultiple) {
				same = true
				continue
			}
			better, expected := tr.compare(m)
			switch {
			case expected < toldApart || math.Abs(better) < max(toldApart, 0.8*expected):
				same = true
			case better > 0:
				tr.fit, tr.probe = tr.probe, tr.fit
				same = false
			}
		}
	}
	return same
}

// compare returns the χ² of tr.fit less that of tr.probe, its image m rates away, and what the
// unevenness of the sample times lets expect for that: χ² of the whole line times 1−|mean
// exp(2πi·m·δ/dt)|², δ the time of a sample less that of an even one. Unevenness no larger
// than the stamps' own rounding is none: the stamps may be to blame, not the samples.
func (tr *Tracker) compare(m float64) (better, expected float64) {
	t := tr.fit.t
	n := float64(len(t))
	for a := range tr.axes {
		mine, its := sumSquares(tr.fit.residual[a]), sumSquares(tr.probe.residual[a])
		noise := max(min(mine, its), 1e-30) / n
		better += (mine - its) / noise
		p := tr.fit.phasor[1][a]
		expected += n * (real(p)*real(p) + imag(p)*imag(p)) / 2 / noise
	}
	spread, mean := unevenness(t, tr.dt, m)
	if spread < 1.5*tick(t)/math.Sqrt(12) {
		return better, 0
	}
	return better, expected * (1 - mean*mean)
}

// unevenness returns the standard deviation in s of the times t about the best even grid of
// about dt s, and |mean exp(2πi·m·δ/dt)| of their deviations δ.
func unevenness(t []float64, dt, m float64) (spread, mean float64) {
	var sk, st, skk, skt float64
	n := float64(len(t))
	for _, u := range t {
		k := math.Round((u - t[0]) / dt)
		sk, st, skk, skt = sk+k, st+u-t[0], skk+k*k, skt+k*(u-t[0])
	}
	step := (n*skt - sk*st) / (n*skk - sk*sk)
	first := (st - step*sk) / n
	var re, im float64
	for _, u := range t {
		d := u - t[0] - first - step*math.Round((u-t[0])/dt)
		spread += d * d
		sin, cos := math.Sincos(2 * math.Pi * m * d / step)
		re, im = re+cos, im+sin
	}
	return math.Sqrt(spread / n), math.Hypot(re, im) / n
}

// tick returns the largest of 10, 1, 0.1 ms of which all t are whole multiples, 0 if none.
func tick(t []float64) float64 {
	for _, s := range [3]float64{0.01, 0.001, 0.0001} {
		if !slices.ContainsFunc(t, func(u float64) bool { return math.Abs(u/s-math.Round(u/s)) > 0.01 }) {
			return s
		}
	}
	return 0
}

func sumSquares(v []float64) float64 { return floats.Dot(v, v) }
