package sensor

import "math"

// How much gravity the mean of three axes may show, in g: from GravityLeast to GravityMost where it
// is there, as a sensor's zero is off by up to a quarter of a g (ADXL345 data sheet, Rev. E: 150 mg in
// x and y, 250 mg in z), and GravityGone at most where the recorder took it out (all chosen: narrower
// refuses good files, wider takes a sensor of 64 counts a g for one in mg, and shows a sixteenth of
// the shake).
const (
	GravityGone  = 0.05
	GravityLeast = 0.7
	GravityMost  = 1.3
)

// UnitByGravity returns the unit of acceleration, "m/s2", "g" or "mg", in which a mean of three axes
// is the gravity that a sensor may show: the mean, since vibration has none. moves is the mean square
// about it; where that is more than the square of the mean, or no unit fits, the unit is "".
func UnitByGravity(mean, moves float64) string {
	if !(moves <= mean*mean) {
		return ""
	}
	for _, u := range []unit{metric, inG, inMG} { // whose bands are far apart
		if g := u.si(mean) / gravity; g > GravityLeast && g < GravityMost {
			return u.name
		}
	}
	return ""
}

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
	judged  bool // there was a second to judge
	weighed bool // there was gravity as it may be, or too few axes to tell
	hidden  bool // there was a second that may have had gravity, but for its shaking
	told    bool
}

// unweighed says, once, why nothing in a recording shows the gravity by which its scale could be checked; "" where something does.
func (s *scales) unweighed(ended bool) string {
	if s.told || !s.judged || s.weighed || s.off > 0 || !s.settled && !ended {
		return ""
	}
	s.told = true
	if s.hidden {
		return "it shakes too much to check its unit by gravity"
	}
	return "there is no gravity in it to check its unit by"
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
	s.judged, s.weighed = true, s.weighed || axes < 3 || seen >= GravityLeast && seen <= GravityMost
	s.hidden = s.hidden || seen > GravityGone
	switch moves := s.squares/n - square; {
	case seen > GravityMost && moves <= square, axes == 3 && seen > GravityGone && seen < GravityLeast && moves <= square:
		s.off++
		s.shown = seen
	case seen <= GravityMost && (axes < 3 || seen >= GravityLeast || seen <= GravityGone):
		s.settled = true
	}
}
