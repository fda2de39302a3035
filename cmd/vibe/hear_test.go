package main

import (
	"bytes"
	"math"
	"testing"

	audio "github.com/go-audio/wav"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
)

// Twice the shake is twice the sound, one swell a turn, five octaves up; what is not known is
// silent; a shake beyond the scale is limited and does not wrap.
func TestSound(t *testing.T) {
	t.Parallel()
	rms := func(shake float64) float64 {
		r := invented(600, shake, 4)
		sum := 0.0
		s := sound(r)[soundRate:]
		for _, v := range s {
			sum += float64(v) * float64(v)
		}
		return math.Sqrt(sum / float64(len(s)))
	}
	assert.InEpsilon(t, 2, rms(8)/rms(4), 1e-3)
	assert.InEpsilon(t, 4, rms(2)/rms(0.5), 1e-2)
	for _, v := range sound(invented(600, 500, 1))[soundRate/2:] {
		require.LessOrEqual(t, math.Abs(float64(v)), 32767.0)
	}
	for _, v := range sound([]assess.Reading{{Speed: 600, Shake: 5}}) {
		require.Zero(t, v)
	}
	// 600 rpm is 10 turns a second: the loudness has period 0.1 s, the tone is 320 Hz.
	s := sound(invented(600, 4, 4))[soundRate : 2*soundRate]
	loudest, crossings := 0, 0
	for i, v := range s {
		if v > s[loudest] {
			loudest = i
		}
		if i > 0 && s[i-1] < 0 && v >= 0 {
			crossings++
		}
	}
	assert.InDelta(t, s[loudest], s[(loudest+soundRate/10)%len(s)], 400)
	assert.Less(t, math.Abs(float64(s[(loudest+soundRate/20)%len(s)])), 0.05*float64(s[loudest]), "half a turn later it is quiet")
	assert.InDelta(t, 320/2, crossings, 25, "the tone is heard for half of each turn")
}

// Another program's reader gets back what was written.
func TestWriteSound(t *testing.T) {
	t.Parallel()
	want := sound(invented(500, 6, 1))
	var b bytes.Buffer
	require.NoError(t, writeSound(&b, want))
	d := audio.NewDecoder(bytes.NewReader(b.Bytes()))
	got, err := d.FullPCMBuffer()
	require.NoError(t, err)
	assert.Equal(t, soundRate, got.Format.SampleRate)
	assert.Equal(t, 1, got.Format.NumChannels)
	require.Len(t, got.Data, len(want))
	for i, v := range want {
		require.Equal(t, int(v), got.Data[i])
	}
}

// What is said of a moment is said of a reading that may be used, at the ends of a recording too.
func TestMoment(t *testing.T) {
	t.Parallel()
	all := make([]assess.Reading, 40) // not known, but for the last and the third
	for i := range all {
		all[i].T = float64(i) / 4
	}
	for _, i := range []int{2, 39} {
		all[i].OK, all[i].Speed, all[i].Shake = true, 600, float64(i)
	}
	for at, want := range map[float64]float64{0: 39, 1: 2, 9.5: 39} {
		found, of := moment(all, at)
		assert.NotEmpty(t, found)
		assert.InDelta(t, want, of.Shake, 0, "at %v s", at)
	}
	found, _ := moment(all, 5)
	assert.Empty(t, found)
}
