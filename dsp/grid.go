package dsp

import "math"

// The samples of a sensor stand on a grid in time, about even; some are missing, all stray a little.

const (
	// shortestInterval of samples, s: times closer than that are no times. Chosen.
	shortestInterval = 1e-6
	// fewestRows tell the usual interval of the samples. Chosen.
	fewestRows = 16
)

// interval returns the usual interval of the times t, s: their span over the number of
// intervals in it. A first guess is the mean of those that differ from their median by less than half, or what was
// known. The times of held values are those of the delivery; there the plain mean tells.
func (e *ear) interval(t []float64) float64 {
	span, n := t[len(t)-1]-t[0], float64(len(t)-1)
	if e.hold {
		return span / n
	}
	if onGrid(t, span/n, 1e-3) {
		return span / n
	}
	d := e.sort[:0]
	for i := 1; i < len(t); i++ {
		d = append(d, t[i]-t[i-1])
	}
	e.sort = d
	usual := median(d)
	sum, n := 0.0, 0.0
	for _, v := range d {
		if math.Abs(v-usual) < usual/2 {
			sum, n = sum+v, n+1
		}
	}
	dt := sum / max(n, 1)
	if math.Abs(dt-e.dt) < 0.1*e.dt {
		dt = e.dt
	}
	for range 3 { // a guess that is a little off counts the right number
		if !(dt > shortestInterval) {
			return 0
		}
		dt = span / intervals(t, dt)
	}
	return dt
}

// intervals returns how many intervals of about dt s lie between the first and the last of the times t, those of missing
// samples too. A sample may lie up to half an interval beside an even grid, so no two of them tell whether one
// is missing between: the grid is followed along, each sample pulling it a little.
func intervals(t []float64, dt float64) float64 {
	const pull = 0.25 // Chosen: a phase is known after a dozen samples, a clock may be 2 % off
	whole := float64(len(t) - 1)
	if each := (t[len(t)-1] - t[0]) / whole; math.Abs(each-dt) < 0.1*dt && onGrid(t, each, 1e-3) {
		return whole
	}
	at := t[0]
	follow := func(u float64) float64 {
		k := 1.0
		if next := u - at - dt; next < -dt/2 || next > dt/2 {
			k = math.Round((u - at) / dt)
		}
		at += k * dt
		at += pull * (u - at)
		return k
	}
	for i := min(16, len(t)-1); i >= 0; i-- { // where the grid begins
		follow(t[i])
	}
	n := 0.0
	for _, u := range t[1:] {
		n += follow(u)
	}
	return max(n, whole)
}

// onGrid reports whether the times t stand every dt s, within so small a part of that.
func onGrid(t []float64, dt, part float64) bool {
	for i, u := range t {
		if math.Abs(u-t[0]-float64(i)*dt) > part*dt {
			return false
		}
	}
	return true
}
