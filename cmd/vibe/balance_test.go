package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/recordings"
	"vibe/sensor"
)

// A guided balancing goes on where it was after a call that was ended in the middle of a
// run, and ends at the secret of the simulated blank.
func TestBalanceResumes(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	step := func(ctx context.Context, args ...string) (int, string, string) {
		var out, msg bytes.Buffer
		code := run(ctx, append([]string{"balance"}, args...), strings.NewReader(""), &out, &msg)
		return code, out.String(), msg.String()
	}
	code, _, msg := step(t.Context(), "--from", "simulated")
	require.Zero(t, code, msg)
	file := filepath.Join(os.Getenv("XDG_DATA_HOME"), "vibe", "balance.json")
	kept, err := os.ReadFile(file)
	require.NoError(t, err)
	dead, cancel := context.WithCancel(t.Context())
	cancel()
	code, out, _ := step(dead, "--from", "simulated")
	assert.Equal(t, 1, code)
	assert.Empty(t, out)
	after, err := os.ReadFile(file)
	require.NoError(t, err)
	assert.Equal(t, string(kept), string(after))
	code, out, msg = step(t.Context(), "--from", "simulated,simulated,simulated", "--json")
	require.Zero(t, code, msg)
	var doc struct {
		Heavy  float64 `json:"heavy_deg"`
		Within float64 `json:"within_deg"`
		Amount float64 `json:"imbalance_g_mm"`
		Runs   []any   `json:"runs"`
	}
	require.NoError(t, json.Unmarshal([]byte(out), &doc))
	assert.Len(t, doc.Runs, 4)
	s, err := loadBalance()
	require.NoError(t, err)
	truth := s.secret()
	assert.LessOrEqual(t, math.Abs(math.Remainder(doc.Heavy-math.Atan2(imag(truth), real(truth))*180/math.Pi, 360)), max(12, 1.5*doc.Within))
	assert.InEpsilon(t, math.Hypot(real(truth), imag(truth)), doc.Amount, 0.2)
}

// A board on a port gives a run while it turns, and the call ends by itself. The board is a
// pseudo-terminal that writes the simulated blank's samples with its own clock.
func TestBalanceLive(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	code, _, msg := vibe(t, nil, "balance", "--trial", "60g", "--radius", "100mm", "--fastened", "screwed", "--diameter", "250mm", "--length", "120mm",
		"--held", "faceplate", "--tailstock", "--balance", "sawn", "--speed", "300")
	require.Zero(t, code, msg)
	s, err := loadBalance()
	require.NoError(t, err)
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminals here: %v", err)
	}
	defer slave.Close()
	done := make(chan struct{})
	lathe := s.simulated(assess.Mass{})
	go func() {
		defer close(done)
		board(master, lathe)
	}()
	code, out, msg := vibe(t, nil, "balance", "--from", "serial:"+slave.Name())
	require.NoError(t, lathe.Close())
	go io.Copy(io.Discard, slave) // lets the board's last lines go
	<-done
	require.NoError(t, master.Close())
	require.Zero(t, code, msg)
	assert.Contains(t, out, "Run 2 of 4 comes next")
	s, err = loadBalance()
	require.NoError(t, err)
	require.Len(t, s.Runs, 1)
	assert.InDelta(t, 300, float64(s.Runs[0].Speed), 3)
}

// A lathe that turns at another speed than the runs are to be made at is told so.
func TestBalanceElsewhere(t *testing.T) {
	t.Parallel()
	for at, told := range map[float64]bool{400: true, 300: false} {
		var msg strings.Builder
		s := &balanceState{Speed: at}
		lathe := s.simulated(assess.Mass{})
		s.Speed = 300
		_, err := s.live(t.Context(), s.input(lathe), &msg)
		require.NoError(t, err)
		assert.Equal(t, told, strings.Contains(msg.String(), "nothing turns steadily near 300 rpm yet: go to that speed"), msg.String())
	}
}

// Kept sessions are runs too: of the same blank, each once, all at one speed.
func TestBalanceKept(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	begin := []string{"balance", "--trial", "60g", "--radius", "100mm", "--fastened", "screwed", "--diameter", "250mm", "--length", "120mm",
		"--held", "faceplate", "--tailstock", "--balance", "sawn", "--speed", "300"}
	code, _, msg := vibe(t, nil, begin...)
	require.Zero(t, code, msg)
	s, err := loadBalance()
	require.NoError(t, err)
	session := func(at float64, mass assess.Mass, setup recordings.Setup) {
		k, err := shopFile("").keep(setup)
		require.NoError(t, err)
		turned := *s
		turned.Speed = at
		lathe := turned.simulated(mass)
		for {
			b, err := lathe.Next()
			if err != nil {
				break
			}
			k.block(b)
		}
		_, err = k.close()
		require.NoError(t, err)
	}
	setup := recordings.Setup{Blank: s.Blank}
	session(300, assess.Mass{}, setup)
	for _, angle := range s.Angles {
		s.Runs = append(s.Runs, assess.Run{}) // each slips otherwise
		session(300, assess.Mass{Grams: 60, Radius: 100, Angle: angle}, setup)
	}
	other, empty := setup, setup
	other.Blank.Diameter, empty.Empty = 400, true
	session(300, assess.Mass{}, other)
	session(300, assess.Mass{}, empty)
	session(260, assess.Mass{Grams: 60, Radius: 100}, setup)

	for from, why := range map[string]string{"5": "the blank was 400 mm across", "6": "nothing was mounted", "8": "no such session"} {
		code, _, msg := vibe(t, nil, "balance", "--from", from)
		assert.Equal(t, 1, code)
		assert.Contains(t, msg, why)
	}
	code, out, msg := vibe(t, nil, "balance", "--from", "1")
	require.Zero(t, code, msg)
	assert.Contains(t, out, "Run 2 of 4 comes next")
	for from, why := range map[string]string{"1": "it is one already", "7": "no run was kept"} {
		code, _, msg := vibe(t, nil, "balance", "--from", from)
		assert.Equal(t, 1, code)
		assert.Contains(t, msg, why)
	}
	code, out, msg = vibe(t, nil, "balance", "--from", "2,3,4", "--json")
	require.Zero(t, code, msg)
	var doc struct {
		Heavy  float64 `json:"heavy_deg"`
		Within float64 `json:"within_deg"`
	}
	require.NoError(t, json.Unmarshal([]byte(out), &doc))
	truth := s.secret()
	assert.LessOrEqual(t, math.Abs(math.Remainder(doc.Heavy-math.Atan2(imag(truth), real(truth))*180/math.Pi, 360)), max(12, 1.5*doc.Within))

	wav := filepath.Join(t.TempDir(), "throb.wav")
	code, out, msg = vibe(t, nil, "learn", "hear", "--from", "2", "--to", wav)
	require.Zero(t, code, msg)
	assert.Contains(t, out, "holds 4 s at 300 rpm")
	code, out, msg = vibe(t, strings.NewReader("calm\nq\n"), "learn", "hand", "--from", "2", "--sounds", filepath.Join(t.TempDir(), "sounds"))
	require.Zero(t, code, msg)
	assert.Contains(t, out, "at 300 rpm")
}

// board writes the samples of src as a board does, until its wire is cut.
func board(w io.Writer, src sensor.Source) {
	for {
		b, err := src.Next()
		if err != nil {
			return
		}
		fmt.Fprintln(w, "# unit=m/s2 rate=800") // again and again, as boards do: what was sent before the port was open is lost
		for i, t := range b.T {
			if _, err := fmt.Fprintf(w, "%d,%.4f,%.4f,%.4f\n", int64(1e6*t), b.Axes[0][i], b.Axes[1][i], b.Axes[2][i]); err != nil {
				return
			}
		}
	}
}

// The run with the fix on: a fix that tape should not be trusted with is to be screwed on, one that
// no screw should be trusted with is no run to make, and what it may shake with is what the answer
// says, not what any place of that mass could do.
func TestBalanceFixHolds(t *testing.T) {
	for name, c := range map[string]struct {
		grams, ratio float64 // the trial; the imbalance over it
		fastened     assess.Fastening
		says, not    string
	}{
		"taped":       {20, 1.5, assess.Taped, "Start slow", "screw this one on"},
		"too heavy":   {45, 2, assess.Taped, "That is too much for tape: screw this one on.", "It may shake"},
		"far too":     {300, 2, assess.Screwed, "Do not make this run: at 300 rpm", "hands off, stand aside"},
		"much larger": {10, 6, assess.Screwed, "Start slow", "violent"},
	} {
		t.Setenv("XDG_DATA_HOME", t.TempDir())
		u := cmplx.Rect(100*c.grams*c.ratio, 1)
		s := &balanceState{Version: balanceVersion, Lathe: assess.Lathe{Low: 60, High: 3000}, Blank: assess.Blank{Diameter: 250, Length: 120, Held: assess.Faceplate, Tailstock: true, Balance: assess.Sawn},
			Fastened: c.fastened, Grams: c.grams, Radius: 100, Angles: []float64{0, 120, 240}, Speed: 300, Runs: []assess.Run{{Speed: 300, Shake: 2, ShakeSE: 0.01}}}
		for _, a := range s.Angles {
			w := cmplx.Rect(100*c.grams, a*math.Pi/180)
			s.Runs = append(s.Runs, assess.Run{Mass: c.grams, Radius: 100, Angle: a, Speed: 300, Shake: 2 * cmplx.Abs(u+w) / cmplx.Abs(u), ShakeSE: 0.01})
		}
		require.NoError(t, s.save())
		code, out, msg := vibe(t, nil, "balance")
		require.Zero(t, code, msg)
		out = oneLine(out[strings.Index(out, "The next run"):])
		assert.Contains(t, out, c.says, name)
		assert.NotContains(t, out, c.not, name)
	}
}

// On a small terminal what to do next is the last that stands there, below the cautions.
func TestNextRunStaysInSight(t *testing.T) {
	t.Parallel()
	s := &balanceState{Blank: assess.Blank{Diameter: 250, Length: 120, Held: assess.Faceplate, Balance: assess.Sawn}, Grams: 60, Radius: 100,
		Angles: []float64{0, 120, 240}, Runs: []assess.Run{{Shake: 0.5, Speed: 250}}}
	require.NoError(t, s.aim(0))
	mass, heavy, err := s.next()
	require.NoError(t, err)
	trial, err := s.trial()
	require.NoError(t, err)
	p := &page{width: 80, height: 24}
	p.balancing(s, mass, heavy, trial, byCommand(""))
	lines := strings.Split(strings.TrimRight(p.text.String(), "\n"), "\n")
	last := strings.Join(lines[len(lines)-12:], "\n")
	assert.Contains(t, last, "Run 2 of 4 comes next.")
	assert.Contains(t, last, "Fasten 60 g at 0°")
	assert.Contains(t, last, "vibe balance --from RECORDING")
}
