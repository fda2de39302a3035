package sensor

import "fmt"

// Held is what a live source has for a consumer that has not come yet, so that who reads a wire
// never waits. Where nobody takes it, the older half is dropped, counted and told. The zero
// value is empty. Not safe for concurrent use.
type Held struct {
	block   Block
	dropped int // since the consumer last came
}

// mostHeld is how many samples are held (chosen: 20 s at 3200 Hz, 18 min of a phone).
const mostHeld = 1 << 16

// Put appends a sample of three axes in m/s² at t s, with the range of the sensor as in Block.
// Lost samples are missing before it.
func (h *Held) Put(t float64, v [3]float64, limit float64, lost int) {
	b := &h.block
	if len(b.T) >= mostHeld {
		half := len(b.T) / 2
		b.T = append(b.T[:0], b.T[half:]...)
		for k := range b.Axes {
			b.Axes[k] = append(b.Axes[k][:0], b.Axes[k][half:]...)
		}
		b.Lost += half
		h.dropped += half
	}
	if b.Axes == nil {
		b.Axes = make([][]float64, len(v))
	}
	b.T = append(b.T, t)
	for k := range b.Axes {
		b.Axes[k] = append(b.Axes[k], v[k])
	}
	b.Lost += lost
	b.Range = limit
}

// Note appends what must be said aloud; "" is nothing.
func (h *Held) Note(text string) {
	if text != "" {
		h.block.Notes = append(h.block.Notes, text)
	}
}

// Take hands over what there is, once; ok is false if there is nothing.
func (h *Held) Take() (b Block, ok bool) {
	if h.dropped > 0 {
		h.Note(fmt.Sprintf("this computer did not keep up: %d samples were dropped", h.dropped))
	}
	b = h.block
	*h = Held{}
	return b, len(b.T) > 0 || len(b.Notes) > 0
}
