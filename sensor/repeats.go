package sensor

// mayBeOff is the share of a speed that times may make it wrong by. Chosen: a turner does not see it.
const mayBeOff = 0.004

// Repeats counts the samples that were told to be of the time of the one before, and are not the same: their clock is too coarse
// for them. Without them a time seems to last longer than it did, and a speed is wrong by their share. The zero value has seen none.
type Repeats struct{ samples, repeated int }

// See takes the next sample, and reports whether too many repeat the time of the one before.
func (r *Repeats) See(repeats bool) (tooMany bool) {
	const fewest = 4 // Chosen: fewer may be an accident
	r.samples++
	if repeats {
		r.repeated++
	}
	return r.repeated >= fewest && float64(r.repeated) > mayBeOff*float64(r.samples)
}
