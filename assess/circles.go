package assess

import (
	"math"
	"math/cmplx"
)

// Circle is the heavy side as the circles drawn on paper give it.
type Circle struct {
	Heavy float64 // degrees, from 0 up to 360
	// Imbalance in g·mm twice: Vector by the differences between the places, Square by the
	// mean of the squares. Square is 0 where the mean is below the first run's square, as
	// noise can make it. Equal in clean runs of a linear machine.
	Vector, Square float64
}

// Circles is the closed form. With q = (shake/first shake)² − 1 of the runs at angles α,
// ρ = imbalance/trial and the heavy side at β
//
//	q = 1/ρ² + (2/ρ)·cos(α − β)
//
// which is linear in 1/ρ², 2cos β/ρ and 2sin β/ρ: solved by least squares, exactly for
// three places; for K equal masses at equal angles it is the mean and the first Fourier
// coefficients, (2/K)·Σ q·cos α and (2/K)·Σ q·sin α. Vector takes ρ from the last two,
// Square from the first. The point where the three circles meet in the graph is the same
// (Somervaille, Engineering, 1954; Wowk, Machinery Vibration: Balancing). Errors of the
// runs do not enter; see Balancing.Solve. False with fewer than three places.
func Circles(runs []Run) (Circle, bool) {
	if len(runs) < 4 {
		return Circle{}, false
	}
	var a [3][4]float64 // normal equations, in units of the largest moment
	unit := 0.0
	for _, r := range runs[1:] {
		unit = max(unit, cmplx.Abs(r.moment()))
	}
	for _, r := range runs[1:] {
		w := r.moment() / complex(unit, 0)
		ratio := r.Shake / runs[0].Shake
		row := [4]float64{real(w)*real(w) + imag(w)*imag(w), real(w), imag(w), ratio*ratio - 1}
		for i := range a {
			for j := range row {
				a[i][j] += row[i] * row[j]
			}
		}
	}
	x, ok := solve3(a)
	if !ok || x[1] == 0 && x[2] == 0 {
		return Circle{}, false
	}
	c := Circle{Heavy: degrees(math.Atan2(x[2], x[1])), Vector: unit * 2 / math.Hypot(x[1], x[2])}
	if x[0] > 0 {
		c.Square = unit / math.Sqrt(x[0])
	}
	return c, true
}

// degrees is an angle in rad as degrees from 0 up to 360.
func degrees(rad float64) float64 {
	d := math.Mod(rad*180/math.Pi, 360)
	if d < 0 {
		d += 360
	}
	if d >= 360 {
		return 0
	}
	return d
}

// solve3 solves three linear equations by elimination with row exchange. False when they
// leave the answer open.
func solve3(a [3][4]float64) ([3]float64, bool) {
	for i := range a {
		top := i
		for j := i + 1; j < 3; j++ {
			if math.Abs(a[j][i]) > math.Abs(a[top][i]) {
				top = j
			}
		}
		a[i], a[top] = a[top], a[i]
		if math.Abs(a[i][i]) < 1e-9 {
			return [3]float64{}, false
		}
		for j := range a {
			if f := a[j][i] / a[i][i]; j != i {
				for k := i; k < 4; k++ {
					a[j][k] -= f * a[i][k]
				}
			}
		}
	}
	return [3]float64{a[0][3] / a[0][0], a[1][3] / a[1][1], a[2][3] / a[2][2]}, true
}
