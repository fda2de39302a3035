package dsp_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/floats"

	"vibe/dsp"
)

// signal makes seconds of a once-per-turn line of amplitude 1 m/s² peak at f Hz with two
// multiples and white noise on three axes, rate samples a second.
func signal(f, rate, seconds, noise float64) (t []float64, x [][]float64) {
	r := rand.New(rand.NewPCG(1, 1))
	n := int(rate * seconds)
	t, x = make([]float64, n), [][]float64{make([]float64, n), make([]float64, n), make([]float64, n)}
	for i := range t {
		t[i] = float64(i) / rate
		for a := range x {
			p := 2*math.Pi*f*t[i] + float64(a)
			x[a][i] = math.Cos(p) + 0.2*math.Cos(2*p) + 0.1*math.Cos(3*p) + noise*r.NormFloat64()
		}
	}
	floats.AddConst(9.8, x[2])
	return t, x
}

// BenchmarkReading is the cost of one reading in the steady state: 3 axes, 1 kHz, four
// readings a second.
func BenchmarkReading(b *testing.B) {
	const rate = 1000.0
	t, x := signal(4, rate, 20, 0.1) // 8 turns at 4 Hz are a window of 2 s
	tr := &dsp.Tracker{}
	tr.Add(t, x)
	step := int(rate / 4)
	part := [][]float64{nil, nil, nil}
	b.ReportAllocs()
	at, now := 0, t[len(t)-1]
	times := make([]float64, step)
	for b.Loop() {
		if at+step > len(t) {
			at = 0
		}
		for i := range times {
			now += 1 / rate
			times[i] = now
		}
		for a := range x {
			part[a] = x[a][at : at+step]
		}
		if len(tr.Add(times, part)) != 1 {
			b.Fatal("no reading")
		}
		at += step
	}
}
