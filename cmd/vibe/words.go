package main

import "vibe/dsp"

// faultWords says each fault code in a turner's words: the same in the table, the notes
// and wherever a code is shown to a person.
var faultWords = map[dsp.Fault]string{
	dsp.NoTurn:   "nothing turns",
	dsp.Weak:     "the shake does not stand clear of the noise",
	dsp.Changing: "the speed is not settled",
	dsp.Clipped:  "the sensor's range was reached, it shook harder than it can show",
	dsp.Stuck:    "the sensor gives the same value again and again",
	dsp.Gap:      "samples are missing",
	dsp.Coarse:   "the sensor's steps are larger than the shake",
	dsp.Folded:   "may be a faster speed than this sample rate can see",
	dsp.Doubtful: "another speed explains the data as well",
}
