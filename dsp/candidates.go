package dsp

import (
	"cmp"
	"math"
	"slices"
)

const (
	// certain is the most that one line adds to a score, in nats over the threshold: a
	// line 20 times (e³) over it is simply there. Chosen.
	certain = 3.0
	// teeth is how many multiples a score looks at.
	teeth = 9
	// margin is the difference in score, in nats, below which two explanations are as good
	// as each other. Chosen: a factor of ten.
	margin = 2.3
)

// candidate is a frequency that may be the spindle's.
type candidate struct {
	f     float64 // Hz
	z     float64 // whitened power of the line itself, in units of the threshold, in the look that showed it best
	score float64 // Σ ln(z/threshold) over the line and its multiples, each at most certain
	speed float64 // m/s rms, velocity of the strongest line of the family
	own   float64 // m/s rms, velocity of the line itself
	lines int     // how many lines of the family stand, the first included
	lone  int     // greatest m ≥ 2 that divides the number of every multiple that stands (0: no multiple stands)
	look  *look
}

// candidates lists the lines in [low, high] Hz that stand above the noise in any of the
// looks (the longest first) and are still there in the latest, best score first.
func (tr *Tracker) candidates(looks []*look, low, high float64) []candidate {
	found := tr.found[:0]
	for _, l := range looks {
		from, to := max(int(low/l.df), 2), min(int(high/l.df)+1, len(l.z)-3)
		for k := from; k <= to; k++ {
			z := l.z[k]
			if z < thresholds[l.axes] || z < l.z[k-1] || z <= l.z[k+1] {
				continue
			}
			f := (float64(k) + peakOffset(l.z[k-1], z, l.z[k+1])) * l.df
			if f < low || f > high || tr.gone(looks, l, f, z) || tr.excluded(f, 1.5*l.df) {
				continue
			}
			c := candidate{f: f, z: z / thresholds[l.axes], look: l}
			tr.rate(&c)
			found = append(found, c)
		}
	}
	tr.found = found
	slices.SortStableFunc(found, func(a, b candidate) int { return cmp.Compare(b.score, a.score) })
	return tr.merge(found)
}

// merge keeps of candidates that mean the same line the one seen over the longest window.
func (tr *Tracker) merge(found []candidate) []candidate {
	kept := found[:0]
	for _, c := range found {
		same := false
		for i := range kept {
			near := 2.5 / min(c.look.seconds, kept[i].look.seconds)
			if math.Abs(kept[i].f-c.f) < near {
				same = true
				if c.look.seconds > kept[i].look.seconds && c.score > kept[i].score-0.5 {
					kept[i] = c
				}
				break
			}
		}
		if !same {
			kept = append(kept, c)
		}
	}
	return kept
}

// peakOffset interpolates a Hann peak between bins from the whitened powers beside it, in
// bins (Grandke, IEEE Trans. Instrum. Meas. 32 (1983): (2a−1)/(a+1), a the ratio of the
// amplitudes of the larger neighbour and the peak).
func peakOffset(left, mid, right float64) float64 {
	side, sign := right, 1.0
	if left > right {
		side, sign = left, -1.0
	}
	a := math.Sqrt(side / mid)
	return sign * max(0, min(0.5, (2*a-1)/(a+1)))
}

// gone reports whether the line at f, strong in look l, no longer stands in the shorter
// looks, where it should: a speed that was.
func (tr *Tracker) gone(looks []*look, l *look, f, z float64) bool {
	for _, s := range looks {
		expected := z * s.seconds / l.seconds
		if s.seconds < l.seconds && expected > 3*thresholds[s.axes] && f > 3/s.seconds && s.at(f, 1) < 0.15*expected {
			return true
		}
	}
	return false
}

// rate scores c in its look.
func (tr *Tracker) rate(c *candidate) {
	l := c.look
	limit := thresholds[l.axes]
	c.score, c.lines, c.lone = min(certain, math.Log(c.z)), 1, 0
	c.own = l.velocity(c.f)
	c.speed = c.own
	for k := 2; k <= teeth; k++ {
		g := float64(k) * c.f
		if g > l.df*float64(len(l.z)-4) {
			break
		}
		if isMains(g, l.df) || tr.static(g, l.df) {
			continue
		}
		half := 1
		if k > 4 {
			half = 2
		}
		if z := l.at(g, half); z > limit {
			c.score += min(certain, math.Log(z/limit))
			c.speed = max(c.speed, l.velocity(g))
			c.lines++
			c.lone = gcd(c.lone, k)
		}
	}
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

// velocity returns the velocity in m/s rms of the line at f, all axes together: Hann lines
// spread over 1.5 bins.
func (l *look) velocity(f float64) float64 {
	k := int(math.Round(f / l.df))
	sum := 0.0
	for a := range l.axes {
		for j := max(k-1, 1); j <= min(k+1, len(l.z)-2); j++ {
			sum += l.power[a][j] * l.df
		}
	}
	return math.Sqrt(sum) / (2 * math.Pi * f)
}

// isMains reports whether f is the mains' or twice that, 50 or 60 Hz within 0.25 % (grids
// hold 0.4 %; chosen) and half of the resolution.
func isMains(f, resolution float64) bool {
	for _, m := range [4]float64{50, 60, 100, 120} {
		if math.Abs(f-m) < 0.0025*m+resolution/2 {
			return true
		}
	}
	return false
}

// excluded reports whether the line at f is known not to be the spindle: mains hum or a
// line that stands still while the spindle does not; the dial's word overrules both.
func (tr *Tracker) excluded(f, resolution float64) bool {
	if tr.Hint > 0 {
		return false
	}
	return isMains(f, 0) || tr.static(f, resolution)
}

// bystander is a line that was seen beside the spindle's.
type bystander struct {
	f      float64 // Hz
	seen   float64 // s, last time
	beside int     // readings in which the spindle was known and was another line
	lo, hi float64 // Hz, range of the spindle's speed in those
}

const (
	bystanderAlive = 3.0 // s: not seen for so long, and it is forgotten
	bystanderCount = 4   // readings beside a known spindle make a line a bystander
)

// static reports whether f belongs to a line that was there beside the spindle and has not
// moved since.
func (tr *Tracker) static(f, resolution float64) bool {
	for _, b := range tr.bystanders {
		if math.Abs(b.f-f) < resolution && (b.beside >= bystanderCount || b.hi > 1.1*b.lo) {
			return true
		}
	}
	return false
}

// remember updates the bystanders with the lines of look l at time now, where the spindle
// is known to turn at spin Hz (0: it is not known).
func (tr *Tracker) remember(l *look, now, spin float64) {
	for k := 2; k < len(l.z)-2; k++ {
		z := l.z[k]
		f := (float64(k) + 0) * l.df
		if f > tr.high()*1.05 {
			break
		}
		if z < 2*thresholds[l.axes] || z < l.z[k-1] || z <= l.z[k+1] {
			continue
		}
		f = (float64(k) + peakOffset(l.z[k-1], z, l.z[k+1])) * l.df
		if spin > 0 && math.Abs(f-math.Round(f/spin)*spin) < 2.5*l.df && f > spin/2 {
			continue
		}
		tr.note(f, now, spin, l.df)
	}
	tr.bystanders = slices.DeleteFunc(tr.bystanders, func(b bystander) bool { return now-b.seen > bystanderAlive })
}

func (tr *Tracker) note(f, now, spin, df float64) {
	for i := range tr.bystanders {
		b := &tr.bystanders[i]
		if math.Abs(b.f-f) > 0.6*df {
			continue
		}
		b.f += 0.3 * (f - b.f)
		b.seen = now
		if spin > 0 {
			b.beside++
			if b.lo == 0 {
				b.lo, b.hi = spin, spin
			}
			b.lo, b.hi = min(b.lo, spin), max(b.hi, spin)
		}
		return
	}
	if len(tr.bystanders) < 64 {
		b := bystander{f: f, seen: now}
		if spin > 0 {
			b.beside, b.lo, b.hi = 1, spin, spin
		}
		tr.bystanders = append(tr.bystanders, b)
	}
}
