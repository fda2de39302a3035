package main

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
)

// player puts a program into an otherwise empty PATH that "plays" a file: it notes its name and
// keeps it. It returns where.
func player(t *testing.T, script string) (folder string) {
	folder = t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "aplay"), []byte("#!/bin/sh\n"+script), 0o755))
	t.Setenv("PATH", folder)
	t.Setenv("HEARD", folder)
	return folder
}

// What the speaker is given: each advice once when it comes, stop again every two seconds, and
// nothing while muted.
func TestAlarm(t *testing.T) {
	folder := player(t, `test "$1" = -q || exit 1
while read -r line; do :; done <"$2"
echo "${2##*/}" >>"$HEARD/heard"
`)
	a, err := openAlarm(t.Context())
	require.NoError(t, err)
	heard := func() string {
		a.playing.Wait()
		text, err := os.ReadFile(filepath.Join(folder, "heard"))
		require.NoError(t, err)
		return strings.ReplaceAll(strings.TrimSpace(string(text)), ".wav", "")
	}
	assert.Equal(t, "lower", heard(), "it says that it can be heard")
	said := func(n int, action assess.Action) {
		for range n {
			require.NoError(t, a.hear(action))
			a.playing.Wait() // as if each sound were shorter than a reading
		}
	}
	said(8, assess.Hold)
	said(16, assess.Lower)
	assert.Equal(t, "lower\nlower", heard())
	said(17, assess.Stop)
	assert.Equal(t, "lower\nlower\nstop\nstop\nstop", heard())
	a.mute(true)
	said(20, assess.Stop)
	assert.Equal(t, "lower\nlower\nstop\nstop\nstop", heard())
	require.NoError(t, a.close())
	left, err := filepath.Glob(filepath.Join(a.folder, "*"))
	require.NoError(t, err)
	assert.Empty(t, left, "a file was left")
}

// No player, one that fails, and one that begins to fail are told, with what to do.
func TestAlarmFails(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	_, err := openAlarm(t.Context())
	assert.ErrorContains(t, err, "no program that plays sound")
	assert.Contains(t, hintOf(err), "--panel")

	player(t, `echo no card >&2; exit 1`)
	_, err = openAlarm(t.Context())
	assert.ErrorContains(t, err, "no sound: aplay: exit status 1 no card")
	assert.NotEmpty(t, hintOf(err))

	folder := player(t, `test ! -e "$HEARD/broken"`)
	a, err := openAlarm(context.Background())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "broken"), nil, 0o644))
	require.NoError(t, a.hear(assess.Stop))
	a.playing.Wait()
	assert.ErrorContains(t, a.hear(assess.Stop), "no sound: aplay")
	assert.NoError(t, a.hear(assess.Stop), "told once")
	require.NoError(t, a.close())
	assert.NoError(t, (*alarm)(nil).hear(assess.Stop), "none was asked for")
}

// Lower and stop differ in pitch by two octaves and in how often they sound. Pitch is counted as
// zero crossings, of which a sine has two a period.
func TestTones(t *testing.T) {
	for _, c := range []struct {
		action assess.Action
		hz     float64
		times  int
	}{{assess.Lower, 330, 2}, {assess.Stop, 1300, 3}} {
		samples := tones(c.hz, c.times)
		var bursts, crossings, quiet int
		quiet = soundRate
		for i, v := range samples {
			if v != 0 && quiet > soundRate/50 {
				bursts++
			}
			if quiet++; v != 0 {
				quiet = 0
			}
			if i > 0 && (v > 0) != (samples[i-1] > 0) {
				crossings++
			}
			assert.LessOrEqual(t, math.Abs(float64(v)), 16384.0)
		}
		assert.Equal(t, c.times, bursts)
		assert.InDelta(t, 2*c.hz*0.25*float64(c.times), float64(crossings), 2*float64(c.times))
		assert.Less(t, float64(len(samples))/soundRate, 1.0, "s: shorter than from one bell to the next")
	}
}
