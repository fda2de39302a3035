package main

import (
	"math"
	"math/cmplx"
	"math/rand/v2"

	"vibe/assess"
	"vibe/sensor"
)

// simulatedBlank is the word for a lopsided blank to play with.
const simulatedBlank = "simulated"

// play describes the invented blank to play with, and a mass that suits it: its 15 000 g·mm are too little or too much for no secret.
func (b *balancing) play() {
	b.played, b.job = true, demoJob()
	b.job.blank.Diameter, b.job.blank.Length = 250, 120
	b.trial, b.radius, b.fastened, b.speed = 0.15, 100, assess.Screwed, 300
}

// simulated is one run of the blank to play with: its heavy side is somewhere, and masses
// sit up to 3° off their places, as they do. The same balancing has the same blank.
func (s *balanceState) simulated(mass assess.Mass) sensor.Source {
	slip := rand.New(rand.NewPCG(s.Count, 2+uint64(len(s.Runs)))).Float64()*6 - 3
	w := cmplx.Rect(mass.Grams*float64(mass.Radius), (mass.Angle+slip)*math.Pi/180)
	lathe := demoLathe()
	lathe.Seed = 100*s.Count + uint64(len(s.Runs))
	lathe.Seconds = 60
	lathe.Speed = []sensor.Point{{At: 0, Value: assess.RPM(s.Speed).Hz()}}
	lathe.Imbalance = (s.secret() + w) * 1e-6
	lathe.Cutting = sensor.Cutting{}
	lathe.Lines[1].Amp = [3]complex128{0.001, 0.0015, 0.0005}
	lathe.Lines[2].Amp = [3]complex128{0.004, 0.006, 0.002}
	lathe.Chip.Rate, lathe.Chip.Step, lathe.Chip.Noise = 800, 0.0012, 0.0003
	return lathe
}

// secret is the imbalance of the blank to play with, g·mm: 12 000 to 36 000. Chosen: at 300 rpm they shake the lathe by 0.7 to 2.1 mm/s rms,
// so that the fix can be felt.
func (s *balanceState) secret() complex128 {
	r := rand.New(rand.NewPCG(s.Count, 1))
	return cmplx.Rect(12000+24000*r.Float64(), 2*math.Pi*r.Float64())
}
