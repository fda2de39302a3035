package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"vibe/assess"
	"vibe/sensor"
)

func newRead() *cobra.Command {
	var (
		j      job
		opts   sensor.Options
		dial   assess.RPM
		who    person
		asJSON bool
	)
	cmd := &cobra.Command{
		Use:   "read FILE",
		Short: "a recording of yours: what the lathe did, and which speed to go to",
		Long: `Reads a recording of an accelerometer clamped to the headstock, and says how fast
the spindle turned, how hard it shook once per turn, which speed to go to and why.
FILE is CSV or WAV; - is standard input.`,
		Example: `  vibe read roughing.csv --diameter 310mm --length 120mm --balance rough
  vibe read roughing.wav --full-scale 2g --speed 600 --json`,
		Args: takes("FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := j.check(); err != nil {
				return err
			}
			if len(opts.Axes) > 3 {
				return usage{hintf("name one to three columns: --axes ax,ay,az", "--axes names %d columns", len(opts.Axes))}
			}
			if l := j.lathe; dial > 0 && l.High > 0 && dial > 1.1*l.High {
				return usage{hintf("check the two", "--speed %v is above the lathe's fastest, %v", dial, l.High)}
			}
			people, err := loadLearned()
			if err != nil {
				return err
			}
			src, err := open(cmd, args[0], opts)
			if err != nil {
				return err
			}
			in := input{src: src, name: nameOf(args[0]), job: j, dial: dial, comfort: people.of(who.lathe, who.who).comfort(), keep: asJSON, progress: progressOn(cmd.ErrOrStderr())}
			r, err := in.follow(cmd.Context())
			if err != nil {
				return err
			}
			r.doc.Recording.Notes = slices.Concat(r.doc.Recording.Notes, j.notes(), j.sizeless(), r.tryNext(dial), in.learnt())
			say(cmd.ErrOrStderr(), r.doc.Recording.Notes)
			return answer(cmd, asJSON, r.doc, func(p *page) { p.report(r) })
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	j.flags(fs)
	fs.Var(amount(speedKind, &dial), "speed", "that the dial says, for a recording at one speed")
	recordingFlags(fs, &opts)
	who.flags(fs)
	fs.BoolVar(&asJSON, "json", false, "one JSON document on standard output, no text")
	return cmd
}

// recordingFlags registers the flags that say what a recording does not say itself.
func recordingFlags(fs *pflag.FlagSet, o *sensor.Options) {
	fs.Var(amount(rateKind, &o.Rate), "rate", "samples a second, for a file with no time column")
	fs.Var(word(&o.Unit, "g", "mg", "m/s2"), "unit", "of the file's values: g, mg or m/s2")
	fs.Var(amount(accelerationKind, &o.FullScale), "full-scale", "what the largest value of a WAV means: 2g, 20m/s2")
	fs.Var(list("names", func(s string) error {
		o.Axes = append(o.Axes, s)
		return nil
	}), "axes", "the columns to read, up to three: ax,ay,az")
	fs.BoolVar(&o.SkipBad, "skip-bad", false, "leave bad rows out, and count them")
}

// open opens a file, or standard input for "-".
func open(cmd *cobra.Command, name string, opts sensor.Options) (sensor.Source, error) {
	var src sensor.Source
	var err error
	if in := cmd.InOrStdin(); name == "-" && in != os.Stdin {
		src, err = sensor.Decode(nameOf(name), in, opts)
	} else {
		src, err = sensor.Open(name, opts)
	}
	file, parse := new(fs.PathError), new(sensor.ParseError)
	switch {
	case err == nil || errors.As(err, &parse):
		return src, err
	case errors.Is(err, fs.ErrNotExist):
		return nil, hintf("check the name and the folder; vibe demo needs no file", "there is no file %s", name)
	case errors.As(err, &file):
		return nil, err
	}
	return nil, usage{hintf("see vibe read --help", "%w", err)} // the options
}

// nameOf is what a recording is called on the page.
func nameOf(path string) string {
	if path == "-" {
		return "standard input"
	}
	return filepath.Base(path)
}
