package assess

import "math"

// UnbalanceGain is the size of unbalance, for the tests that compare it with published values
// and make shakes of it.
func UnbalanceGain(r, zeta float64) float64 { return math.Hypot(unbalance(r, zeta)) }
