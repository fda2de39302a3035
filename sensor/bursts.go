package sensor

import "slices"

// Bursts reports whether most of the times t in s come in bursts, as those of samples do that were
// stamped when they were read from a queue, or when they arrived. near is the step in s that most
// of them do not exceed.
func Bursts(t []float64) (near float64, ok bool) {
	const (
		most   = 0.6 // of the steps are short (chosen: of pairs, half are, and they do no harm)
		short  = 8   // times shorter than the mean (chosen: with fewer missing samples than that there are no bursts)
		longer = 2   // steps do not count: a pause or two make no bursts
	)
	if len(t) < 2*longer {
		return 0, false
	}
	steps := make([]float64, len(t)-1)
	for i := range steps {
		steps[i] = t[i+1] - t[i]
	}
	slices.Sort(steps)
	mean := 0.0
	kept := steps[:len(steps)-longer]
	for _, step := range kept {
		mean += step / float64(len(kept))
	}
	near = steps[int(most*float64(len(steps)))]
	return near, short*near < mean
}
