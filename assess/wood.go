package assess

import "strings"

// wood is one row of Wood Handbook (USDA Forest Products Laboratory, FPL-GTR-190, 2010),
// table 5-3a: specific gravity on oven-dry mass (volume green, volume at 12 %) and modulus
// of elasticity in MPa (green, at 12 %).
type wood struct {
	name            string
	gGreen, g12     float64
	moeGreen, moe12 float64
}

var woods = []wood{
	{"sugar maple", 0.56, 0.63, 10700, 12600},
	{"red maple", 0.49, 0.54, 9600, 11300},
	{"black cherry", 0.47, 0.50, 9000, 10300},
	{"black walnut", 0.51, 0.55, 9800, 11600},
	{"white oak", 0.60, 0.68, 8600, 12300},
	{"northern red oak", 0.56, 0.63, 9300, 12500},
	{"white ash", 0.55, 0.60, 9900, 12000},
	{"yellow birch", 0.55, 0.62, 10300, 13900},
	{"yellow-poplar", 0.40, 0.42, 8400, 10900},
	{"american beech", 0.56, 0.64, 9500, 11900},
	{"sweetgum", 0.46, 0.52, 8300, 11300},
	{"eastern white pine", 0.34, 0.35, 6800, 8500},
	{"douglas-fir", 0.45, 0.48, 10800, 13400},
}

// Woods lists the names that WoodOf knows. Part of a name will do.
func Woods() []string {
	names := make([]string, len(woods))
	for i, w := range woods {
		names[i] = w.name
	}
	return names
}

// Wood is what a name says about the wood: every kind that it may mean. The zero value is
// wood of which nothing is known.
type Wood struct{ kinds []wood }

// WoodOf finds the wood by its name or part of it, without regard to case: "maple" may be
// sugar or red maple, and counts as the heavier and weaker of them. An unknown name gives
// the zero value.
func WoodOf(name string) Wood {
	name = strings.ToLower(strings.TrimSpace(name))
	if name == "" {
		return Wood{}
	}
	var found Wood
	for _, w := range woods {
		if w.name == name {
			return Wood{[]wood{w}}
		}
		if strings.Contains(w.name, name) {
			found.kinds = append(found.kinds, w)
		}
	}
	return found
}

// Known reports whether the name meant a wood of the table.
func (w Wood) Known() bool { return len(w.kinds) > 0 }

// densest is the density in kg/m³ of the heaviest wood soaked through: saturated density
// is 1000·(1 + G·(1 − 1/1.54)), cell wall 1.54, basic specific gravity of lignum vitae 1.05
// (Wood Handbook, chapters 4 and 5). Counts for a wood that is not known.
const densest = 1370

// leastStiff is the modulus of elasticity in MPa that counts for a wood that is not known:
// chosen, below every row of the table.
const leastStiff = 6000

// spread is how much heavier a piece may well be than the table says: two coefficients of
// variation of specific gravity, 10 % (Wood Handbook, chapter 5, table 5-6).
const spread = 1.2

// Density in kg/m³ at a moisture in % of the dry mass: likely, and as heavy as it may well
// be. Moisture 0 is unknown and counts as soaked through. Likely is 0 when the wood or its
// moisture is not known.
func (w Wood) Density(moisture float64) (likely, high float64) {
	if !w.Known() {
		return 0, densest
	}
	for _, k := range w.kinds {
		soaked := 1000 * (1 + k.gGreen*(1-1/1.54))
		d := soaked
		if moisture > 0 {
			d = min(density(k.gGreen, moisture), soaked)
			likely = max(likely, d)
		}
		high = max(high, min(spread*d, densest))
	}
	return likely, high
}

// density is ρ = 1000·G_M·(1 + M/100) in kg/m³, with G_M = G_b/(1 − 0.265·a·G_b) and
// a = (30 − M)/30 below the fibre saturation point of 30 %, G_M = G_b above (Wood Handbook,
// chapter 4).
func density(basic, moisture float64) float64 {
	a := max(0, (30-moisture)/30)
	return 1000 * basic / (1 - 0.265*a*basic) * (1 + moisture/100)
}

// Stiffness is the lowest modulus of elasticity in MPa that the name allows: the figure at
// 12 % only for wood of at most 12 % moisture, the green one otherwise.
func (w Wood) Stiffness(moisture float64) float64 {
	if !w.Known() {
		return leastStiff
	}
	low := w.kinds[0].moe12
	for _, k := range w.kinds {
		e := k.moeGreen
		if moisture > 0 && moisture <= 12 {
			e = k.moe12
		}
		low = min(low, e)
	}
	return low
}
