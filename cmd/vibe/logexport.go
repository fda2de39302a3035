package main

import (
	"cmp"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"vibe/recordings"
	"vibe/sensor"
)

func newLogExport(file *shopFile) *cobra.Command {
	var to string
	var force bool
	cmd := &cobra.Command{
		Use:   "export N --to FILE",
		Short: "the samples of a session as .csv, .csv.gz or .wav",
		Long: `Writes the samples of a session: CSV has every time and value with all its
digits; WAV has the values alone, at one even rate, and what that changes is
said.`,
		Example: "  vibe log export 12 --to bowl.csv.gz\n  vibe log export 12 --to bowl.wav",
		Args:    takes("NUMBER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			write, err := exporter(to)
			if err != nil {
				return err
			}
			return file.viewSession(args[0], func(k *recordings.Session) error {
				if k.Summary.Samples == 0 {
					return hintf("vibe log lists the sessions", "session %d has no samples", k.Number)
				}
				stop := context.AfterFunc(cmd.Context(), func() { k.Close() })
				defer stop()
				var said string
				err := saveOver(to, force, func(w io.Writer) (err error) {
					said, err = write(w, k)
					return err
				})
				if errors.Is(err, recordings.ErrNoWave) {
					return hintf("export it as .csv or .csv.gz", "%w", err)
				}
				if err != nil {
					return file.explain(err)
				}
				p := newPage(cmd.OutOrStdout())
				for line := range strings.SplitSeq(said, "\n") {
					if strings.HasPrefix(line, "  ") { // a command, in one line, to be pasted
						p.line("%s", line)
					} else {
						p.wrap("", line)
					}
				}
				return p.flush(cmd.OutOrStdout())
			})
		},
	}
	cmd.Flags().SortFlags = false
	toFlag(cmd, &to, &force)
	return cmd
}

// toFlag registers where a new file goes.
func toFlag(cmd *cobra.Command, to *string, force *bool) {
	cmd.Flags().StringVar(to, "to", "", "the new `FILE`")
	cmd.Flags().BoolVar(force, "force", false, "replace a file that is there")
}

// saveOver is save for commands that have --force.
func saveOver(name string, force bool, write func(io.Writer) error) error {
	if _, err := os.Lstat(name); err == nil && !force {
		return hintf("choose another name, or replace it with --force", "%s is there already", name)
	}
	return save(name, force, write)
}

// exporter chooses the format by the file's name. It returns what to say afterwards.
func exporter(name string) (func(io.Writer, *recordings.Session) (string, error), error) {
	switch lower := strings.ToLower(name); {
	case name == "":
		return nil, usage{hintf("as in --to bowl.csv, bowl.csv.gz or bowl.wav", "--to is missing")}
	case strings.HasSuffix(lower, ".csv"):
		return func(w io.Writer, k *recordings.Session) (string, error) {
			return exported(name, k, ""), sensor.WriteCSV(w, k)
		}, nil
	case strings.HasSuffix(lower, ".csv.gz"):
		return func(w io.Writer, k *recordings.Session) (string, error) {
			z, err := gzip.NewWriterLevel(w, gzip.BestSpeed) // the default takes twice as long for a quarter less
			if err != nil {
				return "", err
			}
			return exported(name, k, ""), cmp.Or(sensor.WriteCSV(z, k), z.Close())
		}, nil
	case strings.HasSuffix(lower, ".wav"):
		return func(w io.Writer, k *recordings.Session) (string, error) {
			wave, err := k.WriteWAV(w)
			return exported(name, k, fmt.Sprintf(" --full-scale %vm/s2", wave.FullScale)) + waveWords(wave), err
		}, nil
	}
	return nil, usage{hintf("as in --to bowl.csv, bowl.csv.gz or bowl.wav", "the end of %s is no format of a recording", name)}
}

func exported(name string, k *recordings.Session, flags string) string {
	return fmt.Sprintf("%s holds session %d, %s of it. To read it:\n  vibe read %s%s", name, k.Number, clock(k.Summary.Seconds), shellWord(name), flags)
}

// waveWords says what a WAV file could not hold.
func waveWords(w recordings.Wave) string {
	said := fmt.Sprintf("\n%d samples a second of %d bits", w.Rate, w.Bits)
	if w.Off > 1e-13*w.FullScale {
		said += fmt.Sprintf(", each within %.2g m/s² of what was kept", w.Off)
	} else {
		said += ", each exactly what was kept"
	}
	if w.Late*float64(w.Rate) > 0.05 {
		return said + fmt.Sprintf(". A WAV file has no times: its samples stand evenly, up to %.2g s from where they were; CSV keeps the times", w.Late)
	}
	return said + ", evenly spaced as they were"
}
