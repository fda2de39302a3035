package assess

import "math"

// RimSpeed is v = π·D·n in m/s, the speed of the rim of a blank.
func RimSpeed(d MM, n RPM) float64 { return math.Pi * float64(d) / 1000 * n.Hz() }

// DiscEnergy is the energy in J of a turning solid cylinder, ½·I·ω² with I = ½·m·r² (closed
// form): m·v²/4 with v the rim speed. mass is in kg.
func DiscEnergy(mass float64, d MM, n RPM) float64 {
	v := RimSpeed(d, n)
	return mass * v * v / 4
}

// DropHeight is the height in m from which a piece falls with the energy it leaves the rim
// with, v²/(2g), from ½·m·v² = m·g·h.
func DropHeight(v float64) float64 { return v * v / (2 * gravity) }

// BalanceOffset is the offset e = G/ω in mm of the centre of mass from the axis at which
// a body turning at n has balance grade G in mm/s (ISO 21940-11:2016, 6.3). 0 for n = 0.
func BalanceOffset(grade float64, n RPM) float64 {
	return positive(grade / n.omega())
}

// Ends is how the ends of a long blank are held, as (βL)² of its first bending mode.
type Ends float64

// The ways, from Thomson, Theory of Vibration with Applications, 4th ed., table 9.5-1 and
// appendix D (more digits from the frequency equations there).
const (
	Simple        Ends = 9.869604  // π²; between centres
	ClampedHinged Ends = 15.418206 // chuck or faceplate, and tailstock
	Cantilever    Ends = 3.516015  // no tailstock
)

// Whirl is the first bending speed of a round bar,
//
//	n = 60/(2π) · (βL)² · (d/4) · √(E/ρ) / L²
//
// with E the modulus of elasticity in MPa and ρ the density in kg/m³ (Thomson, Theory of
// Vibration with Applications, 4th ed., section 9.5: ω = (βL)²·√(EI/(m'L⁴)) with
// I/A = d²/16). Shear is left out: short bars whirl slower than this, but far above any
// lathe. 0 when an argument is not above zero.
func Whirl(d, l MM, ends Ends, stiffness, density float64) RPM {
	if !(d > 0 && l > 0 && stiffness > 0 && density > 0) {
		return 0
	}
	dm, lm := float64(d)/1000, float64(l)/1000
	w := float64(ends) * dm / 4 * math.Sqrt(stiffness*1e6/density) / (lm * lm)
	return Turns(w / (2 * math.Pi))
}

// slender is the length over the diameter from which on a blank bends as a bar (chosen;
// below it the true speed is lower than Whirl, and far above any lathe's).
const slender = 4

// whirl of the blank as it is held, 0 if a size is not known. A screw or a vacuum chuck
// holds no moment that could be relied on, so with a tailstock they count as Simple.
func (b Blank) whirl() RPM {
	ends := Cantilever
	switch {
	case b.tailstock() && (b.Held == Chuck || b.Held == Faceplate):
		ends = ClampedHinged
	case b.tailstock():
		ends = Simple
	}
	w := WoodOf(b.Wood)
	_, dense := w.Density(b.Moisture)
	return Whirl(b.Diameter, b.Length, ends, w.Stiffness(b.Moisture), dense)
}

// walkShare is the share of the lathe's weight at which it may walk.
const walkShare = 0.2
