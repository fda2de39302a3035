package live

import (
	"slices"

	"vibe/assess"
	"vibe/sensor"
)

const (
	// Window is how many s of samples are at hand, for a spectrum (chosen: as long as the
	// tracker's longest window).
	Window = 4.0
	// Heard is how many s of readings are at hand to be heard (chosen: a moment as long as
	// that of a recording).
	Heard = 4.0
)

// recent is the newest of what came.
type recent struct {
	blocks   []sensor.Block // which nobody writes to any more
	readings []assess.Reading
}

func (r *recent) block(b sensor.Block) {
	now := b.T[len(b.T)-1]
	r.blocks = append(r.blocks, b)
	old := func(b sensor.Block) bool { return now-b.T[len(b.T)-1] <= Window }
	r.blocks = slices.Delete(r.blocks, 0, slices.IndexFunc(r.blocks, old))
}

// rate is how many samples a second there were of late; 0 where there is less than a second of them.
func (r *recent) rate() float64 {
	n, last := 0, r.blocks[len(r.blocks)-1].T
	for _, b := range r.blocks {
		n += len(b.T)
	}
	if span := last[len(last)-1] - r.blocks[0].T[0]; span > 1 {
		return float64(n-1) / span
	}
	return 0
}

func (r *recent) see(reading assess.Reading) {
	r.readings = append(r.readings, reading)
	inTime := func(old assess.Reading) bool { return reading.T-old.T < Heard }
	r.readings = slices.Delete(r.readings, 0, slices.IndexFunc(r.readings, inTime))
}

// Samples are those of the last Window seconds, as those of a block; none where no data come.
// They are the caller's.
func (s *Session) Samples() (t []float64, axes [][]float64) {
	s.mu.Lock()
	blocks := slices.Clone(s.recent.blocks)
	if s.now.Stale {
		blocks = nil
	}
	s.mu.Unlock()
	for _, b := range blocks {
		if axes == nil {
			axes = make([][]float64, len(b.Axes))
		}
		t = append(t, b.T...)
		for k := range axes {
			axes[k] = append(axes[k], b.Axes[k]...)
		}
	}
	if len(t) == 0 {
		return nil, nil
	}
	from, _ := slices.BinarySearch(t, t[len(t)-1]-Window)
	for k := range axes {
		axes[k] = axes[k][from:]
	}
	return t[from:], axes
}

// Readings are those of the last Heard seconds, oldest first; none where no data come.
func (s *Session) Readings() []assess.Reading {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.now.Stale {
		return nil
	}
	return slices.Clone(s.recent.readings)
}
