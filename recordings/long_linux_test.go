package recordings_test

import (
	"compress/gzip"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/recordings"
	"vibe/sensor"
)

var hours = flag.Float64("hours", 0.02, "length of TestLong's session; from 1 on its times are held to limits too")

// TestLong keeps a session of 1000 samples a second on three axes of 16 bits with noise of
// 330 steps, times in µs with 12 µs of scatter, four readings a second and an advice whose numbers
// wander, and which is another every ten seconds, and looks at what that costs.
func TestLong(t *testing.T) {
	path := filepath.Join(t.TempDir(), "shop")
	s := shopAt(t, path)
	w, err := s.Begin(setup())
	require.NoError(t, err)
	n := int(*hours * 3600 * 4)
	var taken time.Duration
	for i := range n {
		b := later(quarter(i%240), 0.25*float64(i-i%240))
		r := assess.Reading{T: 0.25 * float64(i), Span: 2, OK: true, Speed: 600 + assess.RPM(i%40)/100, SpeedSE: 0.05,
			Shake: 2 + float64(i*61%97)/100, ShakeSE: 0.01, Travel: 64.8, Total: 2.3, Feel: assess.Lively}
		a := assess.Advice{Action: assess.Hold, Speed: 600, Say: fmt.Sprintf("Hold 600 rpm: %.1f mm/s, lively.", r.Shake), Ceilings: make([]assess.Ceiling, 3),
			Reasons: []assess.Reason{{Code: "edge", Text: "faster could pass the comfort limit of 4.5 mm/s, or is not known well enough", Source: "this lathe's own readings"}}}
		if i/40%2 == 1 {
			a.Action = assess.Raise
		}
		before := used(t)
		require.NoError(t, w.Append(b))
		require.NoError(t, w.Say(r, a))
		taken += used(t) - before
	}
	require.NoError(t, w.Close())
	seconds := float64(n) / 4

	k, err := s.Session(w.Number())
	require.NoError(t, err)
	coded, err := k.Size()
	require.NoError(t, err)
	copied := filepath.Join(t.TempDir(), "copy")
	_, err = s.Backup(copied) // without the free room that the log leaves
	require.NoError(t, err)
	file, err := os.Stat(copied)
	require.NoError(t, err)
	perSample, inAll := float64(coded)/(1000*seconds), float64(file.Size())/(1000*seconds)
	t.Logf("%.2f h: %.2f bytes a sample coded, %.2f with readings, advice and all the file", seconds/3600, perSample, inAll)
	core := 100 * taken.Seconds() / seconds
	t.Logf("%.2f %% of a core to keep", core)

	began := time.Now()
	all, err := s.Sessions(recordings.Filter{})
	require.NoError(t, err)
	require.Len(t, all, 1)
	_, err = k.Advices(12)
	require.NoError(t, err)
	_, err = k.Marks()
	require.NoError(t, err)
	glance := time.Since(began)
	began = time.Now()
	count := 0
	for {
		b, err := k.Next()
		if err != nil {
			break
		}
		count += len(b.T)
	}
	replay := seconds / time.Since(began).Seconds()
	t.Logf("list and show %v; replay %.0f times real time", glance, replay)

	for name, write := range map[string]func(io.Writer, *recordings.Session) error{
		"CSV": func(w io.Writer, k *recordings.Session) error { return sensor.WriteCSV(w, k) },
		"CSV, compressed": func(w io.Writer, k *recordings.Session) error {
			z, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
			require.NoError(t, err)
			return errors.Join(sensor.WriteCSV(z, k), z.Close())
		},
		"WAV": func(w io.Writer, k *recordings.Session) error { _, err := k.WriteWAV(w); return err },
	} {
		k, err := s.Session(w.Number())
		require.NoError(t, err)
		out, err := os.Create(filepath.Join(t.TempDir(), "out"))
		require.NoError(t, err)
		began, before := time.Now(), used(t)
		require.NoError(t, errors.Join(write(out, k), out.Sync(), out.Close()))
		wall, core := 3600*time.Since(began).Seconds()/seconds, 3600*(used(t)-before).Seconds()/seconds
		t.Logf("export of an hour to %s: %.1f s, %.1f s of a core", name, wall, core)
		if *hours >= 1 { // the core's: other programs run on this machine too
			assert.LessOrEqual(t, core, 10.0, name)
		}
	}

	assert.Equal(t, 250*n, count)
	assert.LessOrEqual(t, perSample, 6.0)
	assert.LessOrEqual(t, inAll, 6.5) // the empty tables count in a short one
	if *hours >= 1 {
		assert.LessOrEqual(t, core, 1.0, "% of a core")
		assert.Less(t, glance, 100*time.Millisecond)
		assert.Greater(t, replay, 500.0)
	}
}

// later is b by so many s later, its times whole microseconds as before.
func later(b sensor.Block, by float64) sensor.Block {
	t := make([]float64, len(b.T))
	for i, v := range b.T {
		t[i] = math.Round(1e6*(v+by)) / 1e6
	}
	b.T = t
	return b
}

// used is the processor time of this process so far.
func used(t *testing.T) time.Duration {
	var u syscall.Rusage
	require.NoError(t, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
