// Package assess turns the once-per-turn line into shop words, and shop words into
// advice: what speed a blank may have, and which to go to next.
//
// The only place where Hz becomes rpm and m/s² becomes mm/s. It needs no sensor: a plan
// is made before mounting.
package assess

// RPM is a spindle speed in revolutions a minute.
type RPM float64

// MM is a length in millimetres.
type MM float64
