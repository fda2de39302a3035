package assess

import "fmt"

// beyond names the slowest speed above a shaky band at which it was measured to be calm, below
// the ceiling and with nothing violent on the way. It is said beside a hold, and never becomes
// a raise: a raise keeps below the comfort limit all the way. There must be a fit.
func (a *Adviser) beyond(n, top RPM) (Reason, bool) {
	for _, o := range a.response.seen() {
		high := o.shake + 1.96*o.sigma
		to := a.Lathe.Fit(o.speed)
		if to <= n || o.speed > top || !near(o.speed, to, sameSpeed) || FeelOf(high) != Calm || high >= backToCalm*a.comfort() {
			continue
		}
		for _, band := range a.avoid() {
			if most := a.mostBetween(n, to); band[0] > n && band[1] < to && FeelOf(most) != Violent {
				return Reason{"beyond-band", fmt.Sprintf("beyond the shaky band of %.0f to %v it was calm, %s at %v; on the way it may reach %s. No raise goes through it: whoever does has the tool off and hands clear, and does not stop there",
					float64(band[0]), band[1], ShakeText(o.shake), to, ShakeText(most)), ownReadings}, true
			}
		}
	}
	return Reason{}, false
}

// mostBetween is the largest upper 95 % edge from n to to, mm/s rms, of what is predicted and of
// what was seen there: a peak too narrow for the fit counts as it was.
func (a *Adviser) mostBetween(n, to RPM) (most float64) {
	for s := n; s <= to; s *= 1.005 {
		most = max(most, a.response.edge(s))
	}
	for _, o := range a.response.seen() {
		if o.speed >= n && o.speed <= to {
			most = max(most, o.shake+1.96*o.sigma)
		}
	}
	return most
}
