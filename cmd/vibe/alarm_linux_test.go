package main

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"math/cmplx"
	"os"
	"path/filepath"
	"strings"
	"syscall"
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

// A stop that comes while the tone for lower sounds follows it at once.
func TestAlarmWaits(t *testing.T) {
	folder := player(t, `echo "${2##*/}" >>"$HEARD/heard"
until test -e "$HEARD/go"; do :; done
`)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "go"), nil, 0o644))
	a, err := openAlarm(t.Context())
	require.NoError(t, err)
	require.NoError(t, os.Remove(filepath.Join(folder, "go")))
	require.NoError(t, a.hear(assess.Lower))
	require.NoError(t, a.hear(assess.Stop))
	require.NoError(t, os.WriteFile(filepath.Join(folder, "go"), nil, 0o644))
	a.playing.Wait()
	require.NoError(t, a.hear(assess.Stop))
	a.playing.Wait()
	text, err := os.ReadFile(filepath.Join(folder, "heard"))
	require.NoError(t, err)
	assert.Equal(t, "lower.wav\nlower.wav\nstop.wav\n", string(text))
	require.NoError(t, a.close())
}

// No player, one that fails, and one that begins to fail are told, with what to do.
func TestAlarmFails(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	_, err := openAlarm(t.Context())
	assert.ErrorContains(t, err, "no program that plays sound")
	assert.Contains(t, hintOf(err), "--panel")

	player(t, `echo no card >&2; exit 1`)
	_, err = openAlarm(t.Context())
	assert.EqualError(t, err, "no sound by aplay: no card")
	assert.NotEmpty(t, hintOf(err))

	folder := player(t, `test ! -e "$HEARD/broken"`)
	a, err := openAlarm(context.Background())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(folder, "broken"), nil, 0o644))
	soon := a.hear(assess.Stop) // or the next time, if the player takes longer to fail
	a.playing.Wait()
	assert.ErrorContains(t, errors.Join(soon, a.hear(assess.Stop)), "no sound by aplay: exit status 1")
	assert.NoError(t, a.hear(assess.Stop), "told once")
	require.NoError(t, a.close())
	assert.NoError(t, (*alarm)(nil).hear(assess.Stop), "none was asked for")
}

// A program that is there but cannot sound gives way to the next one; where none can, each says
// why.
func TestAlarmTriesNext(t *testing.T) {
	folder := player(t, `echo "$2" >>"$HEARD/heard"`)
	dead := []byte("#!/bin/sh\necho 'trying' >&2; echo 'no server' >&2; exit 1\n")
	require.NoError(t, os.WriteFile(filepath.Join(folder, "pw-play"), dead, 0o755))
	a, err := openAlarm(t.Context())
	require.NoError(t, err)
	require.NoError(t, a.hear(assess.Stop))
	require.NoError(t, a.close())
	text, err := os.ReadFile(filepath.Join(folder, "heard"))
	require.NoError(t, err)
	assert.Equal(t, []string{"lower.wav", "stop.wav"}, bases(string(text)))

	require.NoError(t, os.WriteFile(filepath.Join(folder, "aplay"), dead, 0o755))
	_, err = openAlarm(t.Context())
	assert.EqualError(t, err, "no sound by pw-play: no server\nno sound by aplay: no server")
}

func bases(lines string) []string {
	var out []string
	for _, l := range strings.Fields(lines) {
		out = append(out, filepath.Base(l))
	}
	return out
}

// The end of the watching does not cut off a sound, not even one by an interrupt.
func TestAlarmEnds(t *testing.T) {
	folder := player(t, `echo "$2" >>"$HEARD/begun"
test "${2##*/}" = lower.wav || until test -e "$HEARD/go"; do :; done
echo "$2" >>"$HEARD/ended"
`)
	ctx, interrupt := context.WithCancel(t.Context())
	a, err := openAlarm(ctx)
	require.NoError(t, err)
	require.NoError(t, a.hear(assess.Stop))
	interrupt()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "go"), nil, 0o644))
	require.NoError(t, a.close())
	text, err := os.ReadFile(filepath.Join(folder, "ended"))
	require.NoError(t, err)
	assert.Equal(t, []string{"lower.wav", "stop.wav"}, bases(string(text)))
}

// A Ctrl-C of the terminal is for all of a process group; the player is in none of ours.
func TestAlarmApart(t *testing.T) {
	folder := player(t, `read -r pid name state parent group rest </proc/self/stat
echo "$group" >"$HEARD/group"
`)
	a, err := openAlarm(t.Context())
	require.NoError(t, err)
	require.NoError(t, a.close())
	group, err := os.ReadFile(filepath.Join(folder, "group"))
	require.NoError(t, err)
	assert.Regexp(t, `^[1-9][0-9]*$`, strings.TrimSpace(string(group)))
	assert.NotEqual(t, fmt.Sprintln(syscall.Getpgrp()), string(group))
}

// What the speaker is given, from the file that it plays: how many tones, their pitch, how loud,
// how long, and that nothing clicks. A tone's line is told from its neighbours by their Fourier
// sums.
func TestTones(t *testing.T) {
	folder := player(t, `/bin/cat "$2" >"$HEARD/${2##*/}"`)
	a, err := openAlarm(t.Context())
	require.NoError(t, err)
	require.NoError(t, a.play(t.Context(), assess.Stop))
	require.NoError(t, a.close())
	for _, c := range []struct {
		action assess.Action
		hz     float64
		times  int
	}{{assess.Lower, 520, 2}, {assess.Stop, 1300, 3}} {
		file, err := os.ReadFile(filepath.Join(folder, string(c.action)+".wav"))
		require.NoError(t, err)
		rate := float64(binary.LittleEndian.Uint32(file[24:]))
		x := make([]float64, (len(file)-44)/2)
		for i := range x {
			x[i] = float64(int16(binary.LittleEndian.Uint16(file[44+2*i:]))) / 32768
		}
		assert.InDelta(t, 0.1+0.3*float64(c.times), float64(len(x))/rate, 0.001, "s")
		begins := int(0.1 * rate)
		for _, v := range x[:begins] {
			require.Zero(t, v, "a sound server may swallow the beginning")
		}
		x = x[begins:]
		line := func(hz float64) float64 { // of the first tone, amplitude
			var sum complex128
			n := int(0.25 * rate)
			for i, v := range x[:n] {
				sum += complex(v, 0) * cmplx.Rect(2/float64(n), -2*math.Pi*hz*float64(i)/rate)
			}
			return cmplx.Abs(sum)
		}
		assert.InDelta(t, 0.8, line(c.hz), 0.05, "Hz %v", c.hz)
		assert.InDelta(t, 0.8/3, line(3*c.hz), 0.02)
		for _, other := range []float64{c.hz / 2, c.hz - 40, c.hz + 40, 2 * c.hz, 4 * c.hz} {
			assert.Less(t, line(other), 0.05, "%v Hz in %v", other, c.hz)
		}
		var loudest, leap float64
		bursts, quiet := 0, rate
		for i, v := range x {
			loudest = max(loudest, math.Abs(v))
			if v != 0 && quiet > rate/50 {
				bursts++
				leap = max(leap, math.Abs(v))
			}
			if quiet++; v != 0 {
				quiet = 0
			}
			if i == len(x)-1 {
				assert.Zero(t, v)
			}
		}
		assert.Equal(t, c.times, bursts)
		assert.Less(t, leap, 0.01, "a click")
		assert.Greater(t, loudest, 0.7)
		assert.Less(t, loudest, 0.8, "of full scale: no player clips it")
	}
}
