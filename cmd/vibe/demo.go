package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"vibe/assess"
	"vibe/sensor"
)

// The demo's scenario is invented: no such lathe, no such afternoon. It is simulated at run
// time with a fixed seed, and goes through the loop as any file does.
const demoStory = `A club's lathe, a cherry burl of 150 mm on a faceplate, tailstock up, being roughed. Somebody
starts at 360 rpm and raises the speed step by step. From 500 rpm the whole lathe begins to
rock; the turner pushes on over the shaky band, to 740, and asks: where to go now?`

// demoJob is what that turner would tell vibe.
func demoJob() job {
	return job{
		blank: assess.Blank{Diameter: 150, Length: 110, Wood: "cherry", Held: assess.Faceplate, Tailstock: true, Balance: assess.Burl},
		task:  assess.Roughing,
		lathe: assess.Lathe{Low: 200, High: 3200},
	}
}

// demoFlags is the same in flags, for who wants to go on from there.
const demoFlags = "--diameter 150mm --length 110mm --wood cherry --held faceplate --tailstock --balance burl --task roughing --lowest 200 --highest 3200"

// demoRead is the command that reads the saved demo, folded as a shell takes it from a paste.
func demoRead(name string) string {
	flags, more, _ := strings.Cut(demoFlags, " --held")
	return fmt.Sprintf("  vibe read %s %s \\\n      --held%s", name, flags, strings.Replace(more, " --task", " \\\n      --task", 1))
}

// demoLathe simulates it: a stand that rocks sideways at 9 Hz is the shaky band.
func demoLathe() *sensor.Simulated {
	return &sensor.Simulated{
		Seed:       20,
		Seconds:    66,
		Speed:      steps(360, 430, 500, 560, 640, 740),
		Wander:     0.001,
		Imbalance:  0.0042,
		Horizontal: sensor.Mode{Hz: 9.3, Damping: 0.08, Mass: 150},
		Vertical:   sensor.Mode{Hz: 24, Damping: 0.05, Mass: 120},
		Lines: []sensor.Line{
			{Order: 2, Ratio: [3]complex128{0.1, 0.15i, 0.05}},
			{Order: 2.43, Amp: [3]complex128{0.006, 0.008, 0.003}}, // belt
			{Hz: 100, Amp: [3]complex128{0.02, 0.04, 0.01}},        // motor hum
		},
		Cutting: sensor.Cutting{White: 0.0006, On: 4, Off: 3},
		Chip:    sensor.Chip{Rate: 400, Jitter: 0.05, Step: 0.0098, Range: 39.2, Noise: 0.0004, Turned: [3]float64{0.2, 0.1, 0.7}},
	}
}

// steps stays 9 s at each speed and takes 2 s from one to the next.
func steps(speeds ...assess.RPM) []sensor.Point {
	var points []sensor.Point
	for i, n := range speeds {
		points = append(points, sensor.Point{At: 11 * float64(i), Value: n.Hz()}, sensor.Point{At: 11*float64(i) + 9, Value: n.Hz()})
	}
	return points
}

func newDemo() *cobra.Command {
	var asJSON bool
	var save string
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "the whole job on a built-in recording; no hardware is needed",
		Long: `Runs the whole job on a simulated recording of an invented lathe, by the same
code as any recording of yours, and explains what it prints.`,
		Args: takes(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if cmd.Flags().Changed("save") {
				return saveDemo(cmd.OutOrStdout(), save)
			}
			r, err := input{src: demoLathe(), name: "demo (simulated)", job: demoJob(), keep: asJSON}.follow(cmd.Context())
			if err != nil {
				return err
			}
			return answer(cmd, asJSON, r.doc, func(p *page) { p.demo(r) })
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON document on standard output, no text")
	cmd.Flags().StringVar(&save, "save", "", "write the recording into this CSV `FILE` instead")
	return cmd
}

// demo writes the whole job, each part explained.
func (p *page) demo(r *record) {
	p.teach = true
	p.wrap("", "A simulated recording of an invented lathe. Everything below was computed from it just now, as it would be from yours.")
	p.line("")
	p.wrap("", demoStory)
	p.line("")
	p.report(r)
	p.head("Try next")
	p.line("  vibe demo --save demo.csv\n      writes this recording into a file, to be read like one of yours:")
	p.line("%s", demoRead("demo.csv"))
	p.line("  vibe plan --diameter 310mm --length 120mm --balance rough --held chuck\n      speeds for a blank of yours before it is mounted")
	p.line("  vibe read --help\n      how to read your own recording; the README says how to make one")
}

// saveDemo writes the recording as CSV.
func saveDemo(stdout io.Writer, name string) error {
	if err := named(name, ".csv"); err != nil {
		return err
	}
	if err := saveNew(name, func(w io.Writer) error { return sensor.WriteCSV(w, demoLathe()) }); err != nil {
		return err
	}
	return writeHarmless(stdout, "%s holds the demo's recording, %g s of an invented lathe. Now:\n%s\n", name, demoLathe().Seconds, demoRead(name))
}
