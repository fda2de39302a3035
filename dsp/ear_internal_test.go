package dsp

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestStride: samples that are taken many at once leave an ear as it is when each is taken alone.
func TestStride(t *testing.T) {
	t.Parallel()
	for seed := range uint64(40) {
		r := rand.New(rand.NewPCG(3, seed))
		var times []float64
		axes := [][]float64{nil, nil}
		u, step, still := 5.0, 1/(80+900*r.Float64()), r.IntN(5) == 0
		for len(times) < 6000 {
			at, x := u, [2]float64{r.NormFloat64(), 9.8}
			u += step
			if len(times) == 0 {
				u = at // two of one time to begin with
			}
			switch r.IntN(400) {
			case 0:
				u += 3 * step * r.Float64()
			case 1:
				u += 0.3 + r.Float64()
			case 2:
				at = []float64{math.NaN(), math.Inf(1), -2 * absurd, u - 3*step}[r.IntN(4)]
			case 3:
				x[r.IntN(2)] = []float64{math.NaN(), math.Inf(-1), absurd}[r.IntN(3)]
			case 4:
				u = at
			case 5: // two of one time after a hole
				at += 0.3 + r.Float64()
				u = at
			}
			if n := len(times); still && n%4 > 0 { // a slow sensor that is read too often
				x = [2]float64{axes[0][n-1], axes[1][n-1]}
			}
			times = append(times, at)
			axes[0], axes[1] = append(axes[0], x[0]), append(axes[1], x[1])
		}
		var many, single ear
		most := []int{3, 1000}[r.IntN(2)]
		for from := 0; from < len(times); {
			to := min(from+1+r.IntN(most), len(times))
			var dues, want []float64
			part := [][]float64{axes[0][from:to], axes[1][from:to]}
			many.check(times[from:to], part)
			single.check(times[from:to], part)
			for u := range many.due(times[from:to], part) {
				dues = append(dues, u)
				many.ready(u)
			}
			for i, u := range times[from:to] {
				x := [3]float64{part[0][i], part[1][i]}
				fine := math.Abs(u) < absurd && math.Abs(x[0]) < absurd && math.Abs(x[1]) < absurd
				if fine && single.row(u, &x) && u >= single.next {
					want = append(want, u)
					single.ready(u)
				}
			}
			require.Equal(t, want, dues, "seed %d, to %d", seed, to)
			from = to
		}
		for _, e := range []*ear{&many, &single} { // room to work, and room to spare
			e.sort, e.fresh, e.cols, e.spared = nil, [3][]float64{}, [3][]float64{}, nil
		}
		require.Equal(t, single, many, "seed %d", seed)
	}
}
