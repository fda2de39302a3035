package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"vibe/assess"
	"vibe/recordings"
	"vibe/sensor"
)

// reader is what `vibe read` was told.
type reader struct {
	job    job
	opts   sensor.Options
	dial   assess.RPM
	who    string
	label  string
	keep   bool
	asJSON bool
}

func newRead() *cobra.Command {
	var r reader
	cmd := &cobra.Command{
		Use:   "read FILE|N",
		Short: "a recording of yours: what the lathe did, and which speed to go to",
		Long: `Reads a recording of an accelerometer clamped to the headstock, and says how
fast the spindle turned, how hard it shook once per turn, which speed to go to
and why. FILE is CSV or WAV; - is standard input. N is the number of a kept
session: it is run again with all that was said then, also on the way, and says
the same. Say another blank, lathe, task, dial or person, and it is read anew
with that.`,
		Example: `  vibe read roughing.csv --diameter 310mm --length 120mm --balance rough
  vibe read roughing.wav --full-scale 2g --speed 600 --json`,
		Args: takes("FILE"),
		RunE: func(cmd *cobra.Command, args []string) error { return r.run(cmd, args[0]) },
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	r.job.flags(fs)
	fs.Var(amount(speedKind, &r.dial), "speed", "that the dial says, for a recording at one speed")
	recordingFlags(fs, &r.opts)
	fs.Var(freeText(&r.who), "who", "which person, by a name, whose comfort limit counts")
	fs.BoolVar(&r.keep, "keep", false, "keep it as a session: see vibe log")
	fs.Var(freeText(&r.label), "label", "with --keep: what you call the work")
	fs.BoolVar(&r.asJSON, "json", false, "one JSON document on standard output, no text")
	return cmd
}

// run reads what is called name, keeps it if that was said, and answers.
func (r *reader) run(cmd *cobra.Command, name string) error {
	if r.label != "" && !r.keep {
		return usage{hintf("say --keep too, or leave --label out", "--label names a session that is kept")}
	}
	src, err := r.job.source(cmd, name, r.opts, &r.dial)
	if err != nil {
		return err
	}
	defer src.Close()
	in := input{src: src, name: nameOf(name), job: r.job, dial: r.dial, keep: r.asJSON, progress: meterOn(cmd.ErrOrStderr())}
	in.setLimit(r.who)
	left := in.again(cmd)
	if r.keep {
		setup := in.setup()
		setup.Label, setup.Undated = r.label, true
		if in.session, err = r.job.shop.keep(setup); err != nil {
			return err
		}
	}
	rec, err := in.follow(cmd.Context())
	if err != nil {
		return cmp.Or(err, in.session.drop())
	}
	said, unkept := in.session.finish(rec.samples)
	notes := &rec.doc.Recording.Notes
	*notes = append(*notes, slices.Concat(said, left, r.job.notes(), r.job.meant(r.dial), r.job.sizeless(), rec.partly(), rec.warned(), rec.tryNext(r.dial), in.learnt())...)
	err = answer(cmd, r.asJSON, rec.doc, func(p *page) { p.report(rec) })
	say(cmd.ErrOrStderr(), *notes)
	return cmp.Or(err, unkept)
}

// ofFiles are the flags of a file, which nothing live has a use for.
var ofFiles = []string{"rate", "time", "range", "full-scale", "axes", "skip-bad"}

// recordingFlags registers the flags that say what a recording does not say itself.
func recordingFlags(fs *pflag.FlagSet, o *sensor.Options) {
	fs.Var(amount(rateKind, &o.Rate), "rate", "samples a second, for a file with no time column, or too coarse a one")
	fs.Var(word(&o.Unit, "g", "mg", "m/s2"), "unit", "of the file's values: g, mg or m/s2")
	fs.Var(amount(accelerationKind, &o.FullScale), "full-scale", "what the largest value of a WAV means: 2g")
	fs.Var(list("names", func(s string) error {
		o.Axes = append(o.Axes, s)
		return nil
	}), "axes", "the columns to read, up to three: ax,ay,az")
	fs.Var(freeText(&o.Time), "time", "the column of the times, and its unit: clock_ms")
	fs.Var(amount(accelerationKind, &o.Range), "range", "of the sensor behind a CSV: 2g, 20m/s2")
	fs.BoolVar(&o.SkipBad, "skip-bad", false, "leave bad rows out, and count them")
}

// source checks the job and opens a recording, or a kept session by its number: then what was
// said of job and dial holds as far as nothing else is said now. A file of that name goes first.
func (j *job) source(cmd *cobra.Command, name string, opts sensor.Options, dial *assess.RPM) (sensor.Source, error) {
	if len(opts.Axes) > 3 {
		return nil, usage{hintf("name one to three columns: --axes ax,ay,az", "--axes names %d columns", len(opts.Axes))}
	}
	number, kept := keptNumber(name)
	if !kept {
		if err := cmp.Or(j.check(), j.turns(*dial)); err != nil {
			return nil, err
		}
		return open(cmd, name, opts)
	}
	if cmd.Flags().Changed("keep") {
		return nil, usage{hintf("vibe log show "+name, "session %d is kept already", number)}
	}
	k, err := j.shop.source(number, opts)
	if err != nil {
		return nil, err
	}
	j.resume(k.Setup, cmd.Flags().Changed("tailstock"))
	if err := cmp.Or(j.check(), j.turns(*dial)); err != nil { // only what is said now can be mended
		return nil, cmp.Or(err, k.Close())
	}
	*dial = cmp.Or(*dial, k.Setup.Dial)
	return k, nil
}

// keptNumber is the number of a kept session, where no file has that name.
func keptNumber(name string) (n int64, kept bool) {
	n, kept = sessionNumber(name)
	if _, err := os.Stat(name); err == nil {
		return 0, false
	}
	return n, kept
}

// recordingOf opens a file, standard input for "-", or a kept session by its number.
func recordingOf(cmd *cobra.Command, shop shopFile, name string, opts sensor.Options) (sensor.Source, error) {
	if n, kept := keptNumber(name); kept {
		return shop.source(n, opts)
	}
	return open(cmd, name, opts)
}

// source opens a kept session to be read, which leaves nothing to say about its samples.
func (f shopFile) source(number int64, opts sensor.Options) (keptSource, error) {
	if !reflect.ValueOf(opts).IsZero() {
		return keptSource{}, usage{hintf("leave --unit, --"+strings.Join(ofFiles, ", --")+" out", "session %d has its own times, axes and units", number)}
	}
	shop, err := f.view()
	if err != nil {
		return keptSource{}, err
	}
	k, err := shop.Session(number)
	if err != nil {
		return keptSource{}, cmp.Or(f.explain(err), shop.Close())
	}
	return keptSource{k, shop}, nil
}

// turns refuses a dial that shows what the lathe cannot run, a tenth beyond its ends at most: no line is looked for there.
func (j *job) turns(dial assess.RPM) error {
	low, high := j.lathe.Range()
	switch {
	case dial > 0 && high > 0 && dial > 1.1*high:
		return usage{hintf("check the two", "--speed %v is above the lathe's fastest, %v", dial, high)}
	case dial > 0 && dial < 0.9*low:
		return usage{hintf("check the two", "--speed %v is below the lathe's slowest, %v", dial, low)}
	}
	return nil
}

// fastestLathe is what hardly a wood lathe turns beyond (common practice, no source): here it is asked. That none
// turns beyond 6000 rpm is taken as known (highest in dsp).
const fastestLathe assess.RPM = 5000

// meant asks whether a dial was meant that is beyond wood lathes, where nothing is known of this one.
func (j *job) meant(dial assess.RPM) []string {
	if _, high := j.lathe.Range(); high > 0 || dial <= fastestLathe {
		return nil
	}
	return []string{fmt.Sprintf("hardly a wood lathe turns faster than %v: is it the spindle that --speed %v is of? If so, say --highest too", fastestLathe, dial)}
}

// keptSource is a session that closes its shop too.
type keptSource struct {
	*recordings.Session
	shop *recordings.Shop
}

func (k keptSource) Close() error { return cmp.Or(k.Session.Close(), k.shop.Close()) }

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
		return nil, noFile(name, elsewhere(name))
	case errors.As(err, &file):
		return nil, err
	}
	return nil, usage{hintf("see vibe read --help", "%w", err)} // the options
}

// noFile is the error of a name behind which there is no file, or a link that leads to none.
func noFile(name, hint string) error {
	if to, err := os.Readlink(name); err == nil {
		return hintf("see where the file is now", "%s is a link to %s, where there is no file", name, to)
	}
	return hintf(hint, "there is no file %s", name)
}

// elsewhere is what to try where there is no file of that name.
func elsewhere(name string) string {
	beside, _ := os.ReadDir(filepath.Dir(name)) // what cannot be read suggests nothing
	var names []string
	for _, e := range beside {
		names = append(names, e.Name())
	}
	if near := nearest(filepath.Base(name), names); near != "" {
		return "did you mean " + shellWord(filepath.Join(filepath.Dir(name), near)) + "?"
	}
	return "check the name and the folder; vibe demo needs no file"
}

// nameOf is what a recording is called on the page.
func nameOf(path string) string {
	if path == "-" {
		return "standard input"
	}
	if n, kept := keptNumber(path); kept {
		return fmt.Sprintf("session %d", n)
	}
	return filepath.Base(path)
}
