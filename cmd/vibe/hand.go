package main

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"vibe/assess"
	"vibe/sensor"
)

// handTraining is what `vibe learn hand` was told.
type handTraining struct {
	who    person
	from   string
	sounds string
	shop   shopFile
	rounds int
	opts   sensor.Options
}

// newHand trains the hand: the word first, then the number.
func newHand() *cobra.Command {
	h := handTraining{rounds: 8}
	cmd := &cobra.Command{
		Use:   "hand",
		Short: "say what the hand feels, then see the number; it keeps score",
		Long: `Asks for one of the four words, calm, lively, rough or violent, then shows the
number. Each round writes a sound into the folder --sounds, to listen to first
(see vibe learn hear): of a simulated lathe, or with --from FILE of the steady
moments of a recording or a kept session. With --from serial it is what the
hand on the headstock feels now. q ends it; what was answered is kept.`,
		Example: `  vibe learn hand --sounds sounds
  vibe learn hand --from roughing.csv --sounds sounds
  vibe learn hand --from serial --who anna`,
		Args: takes(),
		RunE: func(cmd *cobra.Command, _ []string) error { return h.run(cmd) },
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	h.who.flags(fs)
	fs.StringVar(&h.from, "from", "", "whose moments to guess: a recording's `FILE`, a kept session's number, or a board as serial or serial:PORT")
	fs.Var(fileName(&h.sounds), "sounds", "a new folder `DIR` for the sounds of the rounds")
	fs.Var(whole(kind{name: "count", units: []unit{{"rounds", 1}}, bare: true, most: 1000, example: "8"}, &h.rounds), "rounds", "how many (8)")
	h.shop.flag(fs)
	recordingFlags(fs, &h.opts)
	return cmd
}

// run asks, keeps the answers and shows the score.
func (h *handTraining) run(cmd *cobra.Command) error {
	f, err := loadLearned()
	if err != nil {
		return err
	}
	before := f.of(h.who.lathe, h.who.who).Guesses
	t := training{sounds: h.sounds, in: bufio.NewScanner(cmd.InOrStdin()), out: cmd.OutOrStdout()}
	if err := h.ask(cmd, &t, before); err != nil {
		return err
	}
	if f, err = loadLearned(); err != nil {
		return err
	}
	p := newPage(cmd.OutOrStdout())
	p.hand(assess.HandScore(f.of(h.who.lathe, h.who.who).Guesses))
	return p.flush(cmd.OutOrStdout())
}

// ask holds the sitting that comes after those before: on a board, or of moments to be heard.
func (h *handTraining) ask(cmd *cobra.Command, t *training, before []assess.Guess) (err error) {
	keep := h.who.sitting(before)
	if port, wired := portOf(h.from); wired {
		return t.onBoard(cmd, port, job{lathe: assess.Lathe{Name: h.who.lathe}, shop: h.shop}, h.opts, h.rounds, keep)
	}
	if h.sounds == "" {
		return usage{hintf("say --sounds DIR, a new folder for what is to be heard first, or --from serial at the lathe", "there is nothing to feel or to hear: a guess would be luck")}
	}
	t.moments = inventedMoments(uint64(len(before)), h.rounds)
	if h.from != "" {
		if t.moments, err = momentsOf(cmd, h.shop, h.from, h.opts, h.rounds); err != nil {
			return err
		}
	}
	return t.run(keep)
}

// sitting returns what keeps the guesses of one more sitting of a person, after those before,
// beside what else is kept meanwhile.
func (p person) sitting(before []assess.Guess) func(assess.Guess) error {
	name := fmt.Sprint("session ", len(assess.HandScore(before).Sessions)+1)
	return func(g assess.Guess) error {
		f, err := loadLearned() // anew: a sitting is long
		if err != nil {
			return err
		}
		g.Session = name
		l := f.of(p.lathe, p.who)
		l.Guesses = append(l.Guesses, g)
		return f.save()
	}
}

// training is one sitting.
type training struct {
	moments [][]assess.Reading
	sounds  string
	in      *bufio.Scanner
	out     io.Writer
}

// run asks round after round until they or the input end, and hands each answer to keep.
func (t *training) run(keep func(assess.Guess) error) error {
	if err := os.Mkdir(t.sounds, 0o755); err != nil {
		return hintf("name a folder that is not there yet", "make the folder for the sounds: %w", err)
	}
	for i, m := range t.moments {
		name := filepath.Join(t.sounds, fmt.Sprintf("round-%d.wav", i+1))
		if err := saveNew(name, func(w io.Writer) error { return writeSound(w, sound(m)) }); err != nil {
			return err
		}
		_ = writeHarmless(t.out, "Listen to %s.\n", name)
		r := m[len(m)/2]
		fmt.Fprintf(t.out, "Round %d of %d, at %.0f rpm: calm, lively, rough or violent? ", i+1, len(t.moments), float64(r.Speed))
		said, ended := t.answer()
		if ended {
			fmt.Fprintln(t.out)
			return nil
		}
		if err := t.judge(r, said, keep); err != nil {
			return err
		}
	}
	return nil
}

// answer reads lines until one is a word, or the end.
func (t *training) answer() (said assess.Feel, ended bool) {
	for t.in.Scan() {
		text := strings.TrimSpace(t.in.Text())
		if strings.EqualFold(text, "q") {
			return "", true
		}
		if said, err := choose(text, assess.Feels()); err == nil {
			return said, false
		}
		fmt.Fprint(t.out, "  calm, lively, rough, violent, or q to end: ")
	}
	return "", true
}

// inventedMoments are rounds of a simulated lathe, evenly over the four words and in no
// order that could be learned; the same seed gives the same rounds.
func inventedMoments(seed uint64, n int) [][]assess.Reading {
	r := rand.New(rand.NewPCG(seed, 77))
	edges := [5]float64{0.4, assess.DefaultEdges[0], assess.DefaultEdges[1], assess.DefaultEdges[2], 24}
	out := make([][]assess.Reading, n)
	for i := range out {
		word := r.IntN(4)
		shake := edges[word] * math.Pow(edges[word+1]/edges[word], 0.05+0.9*r.Float64())
		out[i] = invented(assess.RPM(50*math.Round(6+14*r.Float64())), shake, 4)
	}
	return out
}

// momentsOf are the steady moments of a recording, at most n, far enough apart to differ.
func momentsOf(cmd *cobra.Command, shop shopFile, from string, opts sensor.Options, n int) ([][]assess.Reading, error) {
	all, err := readingsOf(cmd, shop, from, opts)
	if err != nil {
		return nil, err
	}
	var out [][]assess.Reading
	for i := 0; i+8 <= len(all) && len(out) < n; i++ {
		good := true
		for _, r := range all[i : i+8] {
			good = good && r.OK
		}
		if good {
			out = append(out, all[i:i+8])
			i += 15
		}
	}
	if out == nil {
		return nil, hintf("record ten seconds or more at one speed", "%s has no two steady seconds to guess", nameOf(from))
	}
	return out, nil
}
