package serial

// usual baud rates, those of boards first. Below 57600 a line carries no sensor of use.
var usual = []int{115200, 921600, 500000, 250000, 230400, 1000000, 460800, 57600, 2000000}

// rates tries one baud rate after the other until lines can be read.
type rates struct {
	try   []int
	i     int
	good  int     // lines understood at the last look
	bytes int     // that came and made no such line
	from  float64 // host time from which they count
	said  int     // rate that needs no more saying
}

const (
	taste = 100 // bytes that must have come before a rate is judged by them (chosen)
	brief = 0.4 // s of them (chosen: eight samples of the slowest sensor)
	lapse = 2.0 // s of them, where lines have been read before (chosen)
)

func newRates(baud int) rates {
	if baud > 0 {
		return rates{try: []int{baud}, said: baud}
	}
	return rates{try: usual, said: usual[0]}
}

func (r *rates) baud() int { return r.try[r.i] }

// begin starts a judgement at host time at.
func (r *rates) begin(at float64) { r.good, r.bytes, r.from = 0, 0, at }

// next looks at the lines understood so far and at n bytes that came by host time at, and
// returns the rate to try next, 0 to stay.
func (r *rates) next(good, n int, at float64) int {
	if good > r.good || r.bytes == 0 && n > 0 {
		r.bytes, r.from = 0, at
	}
	r.good = good
	r.bytes += n
	waited := at - r.from
	wrong := r.bytes >= taste && (waited >= lapse || waited >= brief && good < settled)
	if len(r.try) == 1 || !wrong && !(good < settled && waited >= starting) {
		return 0
	}
	r.i = (r.i + 1) % len(r.try)
	r.begin(at)
	return r.baud()
}

// found says, once, that lines can be read at another rate than before.
func (r *rates) found(good int) bool {
	if good < settled || r.said == r.baud() {
		return false
	}
	r.said = r.baud()
	return true
}
