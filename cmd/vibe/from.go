package main

import (
	"os"
	"regexp"
	"slices"
	"strings"

	"github.com/spf13/pflag"
)

// from is what `vibe watch` watches, and what only one kind of source needs.
type from struct {
	name string // simulated, serial, serial:PORT, phone, a file, or - for standard input
	pace pace   // of a recording or the simulated lathe
	baud int    // of a serial line; 0 is found
	at   string // address for phones; "" is found
}

// simulated is the word for the lathe to play with.
const simulated = "simulated"

// sources are the words for what is no recording.
var sources = []string{"serial", aPhone, simulated}

func (f *from) flags(fs *pflag.FlagSet) {
	fs.StringVar(&f.name, "from", "", "what to watch: serial, serial:PORT, phone, simulated, a recording's `FILE`, a kept session's number, or - for standard input")
	fs.Var(&value{name: "N", set: func(s string) (err error) {
		f.pace, err = parsePace(s)
		return err
	}}, "pace", "of a recording: 1 as it was (as when not said), 10 ten times as fast, max")
	fs.Var(whole(baudKind, &f.baud), "baud", "of a serial board that has no USB of its own: 115200 (else found)")
	fs.Var(freeText(&f.at), "address", "of this computer, that phones and tablets come to: 192.168.1.20 (else found)")
}

var baudKind = kind{name: "rate", units: []unit{{"baud", 1}}, bare: true, most: 1e7, example: "115200"}

// portOf is the serial port that a source names, "" for the only one; wired is false for other
// sources.
func portOf(source string) (name string, wired bool) {
	rest, wired := strings.CutPrefix(source, "serial")
	name, named := strings.CutPrefix(rest, ":")
	return name, wired && (rest == "" || named)
}

// aPort is what a serial port is called on Linux, macOS and Windows.
var aPort = regexp.MustCompile(`(?i)^(/dev/|com[0-9]+$|(tty|cu)[^/]*$)`)

// meant refuses what is neither a source nor a file: a device is not read as a recording, and
// a slip is told from a file that is missing.
func (f from) meant() error {
	_, wired := portOf(f.name)
	info, err := os.Stat(f.name)
	_, kept := sessionNumber(f.name)
	switch {
	case wired || kept || slices.Contains([]string{aPhone, simulated, "-"}, f.name):
		return nil
	case err == nil && info.Mode()&os.ModeDevice == 0:
		return nil
	case aPort.MatchString(f.name):
		port := f.name
		if port[0] == 't' || port[:2] == "cu" {
			port = "/dev/" + port
		}
		return hintf("a board there is --from serial:"+port+"; --from serial finds one on USB", "%s is no recording", f.name)
	}
	hint := "--from serial is a board on USB, --from simulated a lathe to play with"
	if near := nearest(f.name, sources); near != "" {
		hint = "did you mean --from " + near + "?"
	}
	return noFile(f.name, hint)
}

// check refuses flags that neither the source nor, with lan, the page has a use for: something
// else was meant.
func (f from) check(fs *pflag.FlagSet, lan bool) error {
	if f.name == "" {
		return usage{hintf("vibe watch --from simulated is a lathe to play with; --from serial is a board, --from phone a phone, --from FILE replays a recording", "--from does not say what to watch")}
	}
	if err := f.meant(); err != nil {
		return err
	}
	_, wired := portOf(f.name)
	useless := []string{"baud", "address"}
	switch {
	case wired:
		useless = slices.Concat(useless[1:], []string{"pace"}, ofFiles)
	case f.name == aPhone:
		useless = slices.Concat(useless[:1], []string{"pace", "unit"}, ofFiles)
	case f.name == simulated:
		useless = slices.Concat(useless, []string{"unit", "speed"}, ofFiles)
	}
	for _, name := range useless {
		if fs.Changed(name) && !(lan && name == "address") {
			return usage{hintf("leave it out", "--%s means nothing with --from %s", name, f.name)}
		}
	}
	return nil
}
