package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"vibe/assess"
)

// alarm sounds the computer's speaker for a turner who cannot watch the terminal: two low tones
// for lower, three high ones for stop, again and again, as the page at the lathe does. A nil
// alarm is none. The sound itself is left to a program of the system, so that no library that
// needs one's sound server comes in.
type alarm struct {
	player []string // the program; the file to play comes last
	folder string   // of the files
	muted  atomic.Bool
	rings  int
	due    bool // it is to sound as soon as the tone that plays has ended

	playing sync.WaitGroup
	busy    atomic.Bool
	failed  atomic.Pointer[error] // not told yet
}

// players are programs that play a WAV file to its end and then exit: PipeWire's, PulseAudio's,
// ALSA's and that of macOS.
var players = [][]string{{"pw-play"}, {"paplay"}, {"aplay", "-q"}, {"afplay"}}

// longestTone is when a player that has not ended is taken to hang (chosen: four times the longer of the sounds).
const longestTone = 4 * time.Second

// openAlarm finds a program that can sound, and lets it sound once, lower, so that what cannot
// be heard is known before it is needed: a program may be there, and what it plays through not.
// Whoever gets it must close it.
func openAlarm(ctx context.Context) (*alarm, error) {
	const otherwise = "or leave --sound out; the page has a sound of its own: vibe watch --panel, then Sound"
	a := &alarm{}
	var err error
	if a.folder, err = os.MkdirTemp("", "vibe-sound-*"); err != nil {
		return nil, err
	}
	for action, samples := range map[assess.Action][]int16{assess.Lower: tones(lowTone, 2), assess.Stop: tones(highTone, 3)} {
		if err := a.write(action, samples); err != nil {
			return nil, errors.Join(err, a.close())
		}
	}
	var silent []error
	for _, a.player = range players {
		if _, err := exec.LookPath(a.player[0]); err != nil {
			continue
		}
		err := a.play(ctx, assess.Lower)
		if err == nil {
			return a, nil
		}
		silent = append(silent, err)
	}
	err = a.close()
	if silent == nil {
		return nil, hintf("install aplay (package alsa-utils), "+otherwise, "%w", errors.Join(
			errors.New("no program that plays sound was found: none of pw-play, paplay, aplay, afplay"), err))
	}
	return nil, hintf("see that a speaker is there and on, "+otherwise, "%w", errors.Join(append(silent, err)...))
}

func (a *alarm) file(action assess.Action) string {
	return filepath.Join(a.folder, string(action)+".wav")
}

func (a *alarm) write(action assess.Action, samples []int16) error {
	f, err := os.Create(a.file(action))
	if err != nil {
		return err
	}
	return errors.Join(writeSound(f, samples), f.Close())
}

// play sounds, and returns when the sound has ended.
func (a *alarm) play(ctx context.Context, action assess.Action) error {
	ctx, cancel := context.WithTimeout(ctx, longestTone)
	defer cancel()
	program := exec.CommandContext(ctx, a.player[0], append(a.player[1:len(a.player):len(a.player)], a.file(action))...)
	apart(program)
	program.WaitDelay = time.Second // who holds its output longer is left alone
	said, err := program.CombinedOutput()
	lines := strings.Split(strings.TrimSpace(string(said)), "\n")
	switch {
	case err == nil:
		return nil
	case ctx.Err() != nil:
		err = fmt.Errorf("it did not end within %v", longestTone)
	case lines[0] != "":
		err = errors.New(lines[len(lines)-1]) // the line before the end says most
	}
	return hintf("see that a speaker is there and on", "no sound by %s: %w", a.player[0], err)
}

// hear takes the action of each reading's advice and sounds when the bell rings, but one tone
// at a time. It returns what went wrong since.
func (a *alarm) hear(action assess.Action) error {
	if a == nil {
		return nil
	}
	a.rings = ringsAfter(a.rings, action)
	a.due = a.rings == -1 || a.rings%8 == 1 || a.due && a.rings != 0
	if a.muted.Load() {
		a.due = false
	}
	if a.due && a.busy.CompareAndSwap(false, true) {
		a.due = false
		a.playing.Go(func() {
			if err := a.play(context.Background(), action); err != nil {
				a.failed.Store(&err)
			}
			a.busy.Store(false)
		})
	}
	if err := a.failed.Swap(nil); err != nil {
		return *err
	}
	return nil
}

// mute switches the sound off or on.
func (a *alarm) mute(off bool) {
	if a != nil {
		a.muted.Store(off)
	}
}

// close lets a sound that plays end.
func (a *alarm) close() error {
	if a == nil {
		return nil
	}
	a.playing.Wait()
	return os.RemoveAll(a.folder)
}

// The pitch of the tones, Hz, the higher two and a half times the lower. ISO 7731 wants danger
// signals between 500 and 2500 Hz, and some of it below 1500 for who hears little above (from memory): turners
// with ear muffs, and years of machines behind them.
const (
	lowTone  = 520
	highTone = 1300
)

// tones are so many tones of 0.25 s, in Hz, with pauses of 0.05 s, at most 0.8 of full scale:
// the first three lines of a square wave, as a sine alone drowns in the motor's hum. The 0.1 s
// before them are for a sound server that wakes meanwhile: one was seen to swallow 0.05 s.
func tones(hz float64, times int) []int16 {
	const wake, tone, pause, edge, peak = soundRate / 10, soundRate / 4, soundRate / 20, soundRate / 100, 0.8 * 32767
	out := make([]int16, wake)
	for range times {
		for i := range tone {
			swell := min(1, float64(i)/edge, float64(tone-i)/edge) // no click
			turn := 2 * math.Pi * hz * float64(i) / soundRate
			square := math.Sin(turn) + math.Sin(3*turn)/3 + math.Sin(5*turn)/5 // stays below 1
			out = append(out, int16(math.Round(peak*swell*square)))
		}
		out = append(out, make([]int16, pause)...)
	}
	return out
}
