package assess_test

import (
	"testing"

	"vibe/assess"
)

// session lets an adviser see a turner's first minute.
func session() (*assess.Adviser, *shop) {
	s := newShop(3)
	s.faulty = 0
	p, err := assess.MakePlan(s.lathe, s.blank, s.task)
	if err != nil {
		panic(err)
	}
	s.visible(p.Start)
	s.turn(p.Start)
	a := &assess.Adviser{Lathe: s.lathe, Blank: s.blank, Task: s.task, Checked: true}
	for s.t < 60 {
		d := a.See(s.next())
		if d.Action == assess.Raise || d.Action == assess.Lower {
			s.turn(d.Speed)
		}
	}
	return a, s
}

// BenchmarkSee is one reading in steady turning, no new fit but once a minute.
func BenchmarkSee(b *testing.B) {
	a, s := session()
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		r := s.next()
		b.StartTimer()
		a.See(r)
	}
}

// BenchmarkRefit is one reading that shakes unlike the last, so that the map must be fitted
// again.
func BenchmarkRefit(b *testing.B) {
	a, s := session()
	b.ReportAllocs()
	for i := 0; b.Loop(); i++ {
		b.StopTimer()
		r := s.next()
		r.Shake *= 0.9 + 0.15*float64(i%2)
		b.StartTimer()
		a.See(r)
		a.Map()
	}
}

func BenchmarkRead(b *testing.B) {
	rev := clean()
	b.ReportAllocs()
	for b.Loop() {
		assess.Read(rev)
	}
}
