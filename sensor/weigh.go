package sensor

import "math"

// How much gravity the mean of three axes may show, in g. A sensor's zero is off by up to a
// quarter of a g (ADXL345 data sheet, Rev. E: 150 mg in x and y, 250 mg in z), so that 1 g may
// look like most or least; where the recorder took gravity out there is next to none (chosen:
// narrower refuses good files, wider takes a sensor of 64 counts a g for one in mg, and shows a
// sixteenth of the shake).
const (
	gravityGone  = 0.05
	gravityLeast = 0.7
	gravityMost  = 1.3
)

// doubts is how many seconds of gravity that cannot be make a scale wrong where none before
// could be (chosen: somebody may be clamping the sensor on at first).
const doubts = 5

// scales looks at the first seconds of a recording, whether gravity can be what its unit or full
// scale makes of it. The zero value is ready.
type scales struct {
	settled bool // a second was as it may be, or enough were not
	from    float64
	n       int
	sum     [3]float64
	squares float64
	off     int // seconds in which gravity cannot be so
	shown   float64
}

// add takes a block and reports, once, the gravity in g that cannot be; 0 for none such. ended
// says that no block follows.
func (s *scales) add(b Block, ended bool) float64 {
	for i, t := range b.T {
		if s.settled {
			return 0
		}
		if t-s.from >= 1 && s.n >= telling {
			s.judge(len(b.Axes))
			s.from, s.n, s.sum, s.squares = t, 0, [3]float64{}, 0
		}
		for k, x := range b.Axes {
			s.sum[k] += x[i]
			s.squares += x[i] * x[i]
		}
		s.n++
	}
	if s.settled || s.off < doubts && !(ended && s.off > 0) {
		return 0
	}
	s.settled = true
	return s.shown
}

// judge takes the second that was summed up. One that moves by more than its mean (rms) says
// nothing of gravity; fewer than three axes may see any part of it.
func (s *scales) judge(axes int) {
	var square float64
	n := float64(s.n)
	for _, sum := range s.sum {
		square += sum * sum / (n * n)
	}
	seen := math.Sqrt(square) / gravity
	switch moves := s.squares/n - square; {
	case seen > gravityMost && moves <= square, axes == 3 && seen > gravityGone && seen < gravityLeast && moves <= square:
		s.off++
		s.shown = seen
	case seen <= gravityMost && (axes < 3 || seen >= gravityLeast || seen <= gravityGone):
		s.settled = true
	}
}
