package dsp

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func TestFitQuick(t *testing.T) {
	for _, c := range []struct {
		f, T, snr, fs float64
		axes          int
		drift         float64
		jit           float64
	}{
		{10, 1, 10, 200, 3, 0, 0}, {10, 2, 20, 200, 3, 0, 0}, {2, 4, 20, 100, 1, 0, 0}, {40, 1, 0, 800, 1, 0, 0}, {12, 4, 5, 60, 3, 0, .2}, {10, .8, 20, 200, 3, 0, 0.1}, {4, 1, 20, 200, 3, 0, 0.1}, {10, 1, 30, 200, 3, 1, 0},
	} {
		r := rand.New(rand.NewPCG(1, 2))
		n := int(c.T * c.fs)
		var ef, ea, inF, inA, seF, seA, bf, ba float64
		const trials = 2000
		fails := 0
		s := &fit{}
		var amp0 float64
		for range trials {
			tt := make([]float64, n)
			for i := range tt {
				tt[i] = (float64(i) + c.jit*r.NormFloat64()) / c.fs
			}
			A := 1.0
			sigma := A / math.Sqrt2 / math.Pow(10, c.snr/20)
			x := make([][]float64, c.axes)
			ph := r.Float64() * 2 * math.Pi
			var p [3]complex128
			mid := (tt[0] + tt[n-1]) / 2
			for a := range x {
				x[a] = make([]float64, n)
				am := A * []float64{1, .5, .2}[a]
				pa := ph + float64(a)*0.8
				p[a] = complex(am*math.Cos(pa), am*math.Sin(pa))
				for i, u := range tt {
					x[a][i] = 9.8 + am*math.Cos(2*math.Pi*(c.f*(u-mid)+c.drift/2*(u-mid)*(u-mid))+pa) + sigma*r.NormFloat64()
				}
			}
			s.t, s.x, s.f, s.drift, s.ramp = tt, x, c.f+0.1/c.T*(2*r.Float64()-1), 0, true
			s.ks = []int{1, 2, 3, 4, 5}
			if c.fs < 100 {
				s.ks = []int{1, 2}
			}
			s.steers = [9]bool{1: true}
			s.weight = [3]float64{1, 1, 1}
			if !s.run(false) {
				fails++
				continue
			}
			amp, _ := worst(p, [3]float64{})
			amp0 = amp
			var v [3]float64
			for a := range x {
				v[a] = s.density[a] / s.span * s.thin
			}
			got, se := worst(s.phasor[1], v)
			d := s.f - c.f
			ef += d * d
			bf += d
			ea += (got - amp) * (got - amp)
			ba += got - amp
			seF += math.Sqrt(s.fVar)
			seA += se
			if math.Abs(d) < 2*math.Sqrt(s.fVar) {
				inF++
			}
			if math.Abs(got-amp) < 2*se {
				inA++
			}
		}
		sigma2 := 0.5 / math.Pow(10, c.snr/10)
		a2 := 1.0
		if c.axes == 3 {
			a2 = 1.29
		}
		N := float64(n)
		crbF := math.Sqrt(12/(math.Pow(2*math.Pi, 2)*(a2/(2*sigma2))*N*(N*N-1))) * c.fs
		crbA := math.Sqrt(2 * sigma2 / N)
		fmt.Printf("%+v fails %d f rms/crb %.3f bias/crb %.3f se/crb %.3f in %.3f | a rms/crb %.3f bias %.3f se %.3f in %.3f amp %.2f\n", c, fails, math.Sqrt(ef/trials)/crbF, bf/trials/crbF, seF/trials/crbF, inF/trials, math.Sqrt(ea/trials)/crbA, ba/trials/crbA, seA/trials/crbA, inA/trials, amp0)
	}
}

func BenchmarkFit(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	n := 500
	tt := make([]float64, n)
	x := [][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
	for i := range tt {
		tt[i] = float64(i) / 250
		for a := range x {
			x[a][i] = math.Cos(2*math.Pi*10*tt[i]) + .1*r.NormFloat64()
		}
	}
	s := &fit{}
	b.ReportAllocs()
	for b.Loop() {
		s.t, s.x, s.f, s.drift, s.ramp = tt, x, 10.01, 0, true
		s.ks = []int{1, 2, 3, 4, 5}
		s.steers = [9]bool{1: true}
		s.weight = [3]float64{1, 1, 1}
		s.run(false)
	}
}
