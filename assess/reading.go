package assess

import (
	"encoding/json"
	"math"
	"math/cmplx"
	"slices"

	"vibe/dsp"
)

// The weakest shake that may be called known. Below minShake in mm/s rms nothing in the
// data parts a true spindle from a neighbour's motor; above maxRelSE the shake is too
// uncertain to act on (chosen: too large lets a wrong number through, too small says
// nothing on a quiet lathe).
const (
	minShake = 0.03
	maxRelSE = 0.05
)

// Reading is the once-per-turn line in shop words. 0 and "" are unknown.
//
// With OK false and Speed above 0 the numbers are an estimate to be shown greyed, never
// to be acted upon.
type Reading struct {
	T    float64 `json:"t_s"`    // s, middle of the window on the recording's clock
	Span float64 `json:"span_s"` // s, length of the window
	OK   bool    `json:"ok"`

	Speed   RPM `json:"speed_rpm"`
	SpeedSE RPM `json:"speed_se_rpm"` // standard error
	// Shake is the velocity of the once-per-turn motion in its worst direction, mm/s
	// rms; ShakeSE its standard error; Floor the standard error that noise, step and
	// window would allow on a lathe that does not shake.
	Shake   float64 `json:"shake_mm_s"`
	ShakeSE float64 `json:"shake_se_mm_s"`
	Floor   float64 `json:"floor_mm_s"`
	Travel  float64 `json:"travel_um"` // displacement of the same motion, µm peak to peak
	// Total is the broadband velocity, mm/s rms, over Band in Hz.
	Total float64    `json:"total_mm_s"`
	Band  [2]float64 `json:"band_hz"`
	Feel  Feel       `json:"feel"`
	Cause string     `json:"cause"` // likely cause with how sure, in words
	// Rival is another speed that explains the shake as well, or, where Speed is not known, the
	// line that was seen where neither the dial nor the pulleys nor the lathe's range have one.
	Rival RPM `json:"rival_rpm"`
	// Crest is peak over rms of what is left besides the line and its multiples.
	Crest float64 `json:"crest"`
	// Orbit is the least over the worst direction of the once-per-turn motion, from the
	// phases between the axes: 1 is a circle, 0.001 a straight line. 0 with one axis.
	Orbit float64 `json:"orbit"`
	// Multiples holds the acceleration of 2, 3, … times per turn over that of once per
	// turn, as many as were seen; 0 is one that is not known.
	Multiples []float64 `json:"multiples"`
	// Unseen is how many of the three directions the sensor does not measure, for it has no such
	// axis or one that gives the same value all the time: Shake is then that of the others, and
	// may be more.
	Unseen   int         `json:"-"`
	Faults   []dsp.Fault `json:"faults"`
	Warnings []string    `json:"warnings"`
}

// forbids reports whether a reading with this fault has no number to act on. A gap, or a
// line seen through its image, does only when dsp says so by its own OK: with few samples
// missing, or the dial's word for it, there is a number.
func forbids(f dsp.Fault) bool { return f != dsp.Gap && f != dsp.Folded }

// Read turns a revolution into shop words with the default edges:
//
//	speed = 60·f, shake = 1000·a/(2πf)/√2, travel = 2·10⁶·a/(2πf)²
//
// with a the amplitude in m/s² peak (harmonic motion, v = a/ω, x = a/ω²: Thomson, Theory
// of Vibration with Applications, 4th ed., section 1.1). Amounts that are not finite or
// below zero become unknown. A shake below 0.03 mm/s, or known to no better than 5 %, is
// weak, and so is one without a standard error. The slices of the result are its own.
func Read(rev dsp.Revolution) Reading {
	r := Reading{T: number0(rev.Time), Span: positive(rev.Span), OK: rev.OK, Unseen: unseen(rev),
		Faults: append([]dsp.Fault{}, rev.Faults...), Warnings: append([]string{}, rev.Warnings...)}
	r.Total = positive(1000 * rev.Total)
	if band := [2]float64{positive(rev.Band[0]), positive(rev.Band[1])}; r.Total > 0 && band[0] < band[1] {
		r.Band = band
	}
	r.Crest = positive(rev.Crest)
	f := positive(rev.Freq)
	r.Speed, r.Rival = Turns(f), Turns(rev.Rival)
	if r.Speed == 0 || !finite(rev.Time) {
		return r.refuse(dsp.NoTurn)
	}
	r.SpeedSE = Turns(rev.FreqSE)
	r.Shake, r.ShakeSE, r.Floor = shakeOf(rev.Amp, f), shakeOf(rev.AmpSE, f), shakeOf(rev.Floor, f)
	r.Travel = travelOf(rev.Amp, f)
	r.Feel = FeelOf(r.Shake)
	r.Orbit = orbit(rev)
	r.Multiples = multiples(rev)
	if slices.ContainsFunc(r.Faults, forbids) {
		r.OK = false
	}
	if r.Shake < minShake || r.ShakeSE == 0 || r.ShakeSE > maxRelSE*r.Shake {
		r = r.refuse(dsp.Weak)
	}
	r.Cause = cause(r)
	return r
}

// refuse makes r not ok and names the fault, unless another already forbids its numbers.
func (r Reading) refuse(f dsp.Fault) Reading {
	if !slices.ContainsFunc(r.Faults, forbids) {
		r.Faults = append(r.Faults, f)
	}
	r.OK = false
	return r
}

// Has reports whether r carries fault f.
func (r Reading) Has(f dsp.Fault) bool { return slices.Contains(r.Faults, f) }

// shakeOf is velocity in mm/s rms of an acceleration in m/s² peak at f Hz.
func shakeOf(a, f float64) float64 {
	return positive(1000 * a / (2 * math.Pi * f) / math.Sqrt2)
}

// travelOf is displacement in µm peak to peak of an acceleration in m/s² peak at f Hz.
func travelOf(a, f float64) float64 {
	w := 2 * math.Pi * f
	return positive(2e6 * a / (w * w))
}

// orbit is √((|p|² − |p·p|)/(|p|² + |p·p|)) of the phasor p, the axes of the ellipse that it
// goes round: the worst direction is that of dsp.Revolution.Amp.
func orbit(rev dsp.Revolution) float64 {
	var size float64
	var own complex128
	for _, p := range rev.Phasor {
		size += real(p)*real(p) + imag(p)*imag(p)
		own += p * p
	}
	if !(size > 0) || !finite(size) || rev.Axes < 2 {
		return 0
	}
	turn := cmplx.Abs(own) / size // at most 1, but for rounding
	return max(0.001, math.Sqrt(max(0, 1-turn)/(1+turn)))
}

// unseen counts the axes that are not there, those with no part in the line, and those that are
// another once more: noise alone gives a live one more than 1e-9 of the line, and one of its own,
// rounding gives a dead one less than 1e-12.
func unseen(rev dsp.Revolution) int {
	n := 3
	for k, p := range rev.Phasor[:min(max(rev.Axes, 0), 3)] {
		if cmplx.Abs(p) > 1e-9*rev.Amp && !slices.Contains(rev.Phasor[:k], p) {
			n--
		}
	}
	return n
}

func multiples(rev dsp.Revolution) []float64 {
	var m []float64
	if !(rev.Amp > 0) {
		return nil
	}
	for _, a := range rev.MultipleAmp[:min(max(rev.Seen, 0), len(rev.MultipleAmp))] {
		m = append(m, positive(a/rev.Amp))
	}
	return m
}

// positive is v, or 0 (unknown) when v is not a finite number above zero.
func positive(v float64) float64 {
	if v > 0 && finite(v) {
		return v
	}
	return 0
}

func number0(v float64) float64 {
	if finite(v) {
		return v
	}
	return 0
}

// MarshalJSON writes the reading with null for what is not known and [] for no faults.
func (r Reading) MarshalJSON() ([]byte, error) {
	type plain Reading // without this method
	var band []float64
	if finite(r.Band[0]) && finite(r.Band[1]) && r.Band[1] > 0 {
		band = r.Band[:]
	}
	r.T = number0(r.T)
	speed, speedSE := withError(float64(r.Speed), float64(r.SpeedSE), 2)
	shake, shakeSE := withError(r.Shake, r.ShakeSE, 4)
	return json.Marshal(struct {
		plain
		Span    number    `json:"span_s"`
		Speed   number    `json:"speed_rpm"`
		SpeedSE number    `json:"speed_se_rpm"`
		Shake   number    `json:"shake_mm_s"`
		ShakeSE number    `json:"shake_se_mm_s"`
		Floor   number    `json:"floor_mm_s"`
		Travel  number    `json:"travel_um"`
		Total   number    `json:"total_mm_s"`
		Band    []float64 `json:"band_hz"`
		Feel    *Feel     `json:"feel"`
		Cause   *string   `json:"cause"`
		Crest   number    `json:"crest"`
		Orbit   number    `json:"orbit"`
		Mult    []number  `json:"multiples"`
		Faults  any       `json:"faults"`
		Warn    any       `json:"warnings"`
	}{plain(r), known(r.Span, 4), speed, speedSE, shake, shakeSE, known(r.Floor, 4),
		known(r.Travel, 2), known(r.Total, 4), band, word(r.Feel), word(r.Cause), known(r.Crest, 2), known(r.Orbit, 3),
		knowns(r.Multiples, 3), append([]dsp.Fault{}, r.Faults...), append([]string{}, r.Warnings...)})
}

// withError is v and its standard error with so many decimals, or as many as tell two digits of the error: v is no coarser than that says.
func withError(v, se float64, digits int) (value, err number) {
	const most = 9 // decimals, chosen: no sensor tells more
	if se > 0 && se < math.Pow(10, -float64(digits)) {
		digits = int(min(most, 1-math.Floor(math.Log10(se))))
	}
	return known(v, digits), known(se, digits)
}

// word is a pointer to s, nil (null) when s is empty.
func word[S ~string](s S) *S {
	if s == "" {
		return nil
	}
	return &s
}

// knowns is v, each known to so many decimals; never nil.
func knowns(v []float64, digits int) []number {
	out := make([]number, len(v))
	for i := range v {
		out[i] = known(positive(v[i]), digits)
	}
	return out
}
