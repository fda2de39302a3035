package main

import (
	"bytes"
	"net/http"
	"strconv"
	"sync"
	"time"

	"vibe/assess"
	"vibe/cmd/vibe/live"
)

const (
	// spectrumEvery is how often a spectrum is made at most, however many look (chosen: as fast as
	// an eye takes it in).
	spectrumEvery = time.Second
	// spectrumTo is how far it goes at least, rpm; multiplesShown of the spindle's are always in it (both chosen).
	spectrumTo     assess.RPM = 6000
	multiplesShown            = 5
)

// spectrumView is the spectrum of the newest seconds, made only when it is asked for.
type spectrumView struct {
	session *live.Session

	mu   sync.Mutex
	made time.Time
	doc  []byte
}

// ServeHTTP implements http.Handler.
func (v *spectrumView) ServeHTTP(w http.ResponseWriter, _ *http.Request) {
	v.mu.Lock()
	if v.doc == nil || time.Since(v.made) > spectrumEvery*9/10 { // pages ask once a second, and are a little early at times
		v.doc, v.made = spectrumDoc(v.session), time.Now()
	}
	doc := v.doc
	v.mu.Unlock()
	w.Header().Set("Content-Type", "application/json")
	_, _ = w.Write(doc) // who went away hears nothing
}

// spectrumDoc is {"first_rpm", "step_rpm", "shake_mm_s": [...], "line_rpm"}: three digits are enough for a
// picture, and as text they are a third of what json makes of them. The line is null where it is not sure; without
// data the shakes are none.
func spectrumDoc(s *live.Session) []byte {
	t, axes := s.Samples()
	n := s.Now()
	line := assess.RPM(0)
	if n.Reading.OK && !n.Stale {
		line = n.Reading.Speed
	}
	var is assess.Spectrum
	if len(t) > 0 {
		is = assess.SpectrumOf(t, axes, max(spectrumTo, (multiplesShown+0.5)*line))
	}
	var b bytes.Buffer
	number := func(key string, x assess.RPM) {
		b.WriteString(key)
		if x == 0 {
			b.WriteString("null")
			return
		}
		b.WriteString(strconv.FormatFloat(float64(x), 'g', 9, 64))
	}
	number(`{"first_rpm":`, is.First)
	number(`,"step_rpm":`, is.Step)
	number(`,"line_rpm":`, line)
	b.WriteString(`,"shake_mm_s":[`)
	for i, v := range is.Shake {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString(strconv.FormatFloat(v, 'g', 3, 64))
	}
	b.WriteString("]}")
	return b.Bytes()
}
