package assess

import (
	"fmt"
	"math"
	"slices"
)

// Feels lists the words in rising order of shake.
func Feels() []Feel { return []Feel{Calm, Lively, Rough, Violent} }

// Guess is what a hand on the headstock said of a shake before the number was shown.
type Guess struct {
	Shake   float64 `json:"shake_mm_s"` // as measured then, mm/s rms
	Said    Feel    `json:"said"`
	Session string  `json:"session"` // which sitting, for progress; they come in order
}

// right is the word that the number stands for, "" without a number.
func (g Guess) right() Feel { return FeelOf(g.Shake) }

// counts reports whether g says anything.
func (g Guess) counts() bool { return g.right() != "" && slices.Contains(Feels(), g.Said) }

// off is by how many words the hand called it too rough, below zero too calm.
func (g Guess) off() int {
	return slices.Index(Feels(), g.Said) - slices.Index(Feels(), g.right())
}

// Score is how well a hand knows the four words.
type Score struct {
	Guesses int     `json:"guesses"`
	Right   float64 `json:"right"`   // share, 0 to 1
	Nearly  float64 `json:"nearly"`  // share off by one word
	Expect  float64 `json:"by_luck"` // share that somebody would get right who says the same words at random
	// Bias is the mean of how many words too rough the hand called it, below zero too calm;
	// BiasSE its standard error.
	Bias   float64 `json:"bias_words"`
	BiasSE float64 `json:"bias_se_words"`
	// Often is the confusion that occurs most: Called for Truth, so many Times of the Of
	// times it was so. Times is 0 when there is none twice.
	Called   Feel       `json:"called"`
	Truth    Feel       `json:"truth"`
	Times    int        `json:"times"`
	Of       int        `json:"of"`
	Sessions []Progress `json:"sessions"`
	Say      string     `json:"say"`
}

// Progress is the score of one session.
type Progress struct {
	Session string  `json:"session"`
	Guesses int     `json:"guesses"`
	Right   float64 `json:"right"` // share, 0 to 1
}

// HandScore sums up guesses. Those with an unknown word or no shake are passed over.
func HandScore(guesses []Guess) Score {
	guesses = slices.DeleteFunc(slices.Clone(guesses), func(g Guess) bool { return !g.counts() })
	s := Score{Guesses: len(guesses), Sessions: []Progress{}}
	if s.Guesses == 0 {
		s.Say = "no guesses yet"
		return s
	}
	said, truth := map[Feel]float64{}, map[Feel]float64{}
	mixed := map[[2]Feel]int{}
	n := float64(s.Guesses)
	var squares float64
	for _, g := range guesses {
		said[g.Said]++
		truth[g.right()]++
		switch off := g.off(); off {
		case 0:
			s.Right += 1 / n
		case 1, -1:
			s.Nearly += 1 / n
		}
		off := float64(g.off())
		s.Bias, squares = s.Bias+off/n, squares+off*off/n
		mixed[[2]Feel{g.Said, g.right()}]++
		s.sitting(g)
	}
	s.BiasSE = math.Sqrt(max(squares-s.Bias*s.Bias, 1/n) / n) // never 0: one guess is no certainty
	for _, f := range Feels() {
		s.Expect += said[f] / n * truth[f] / n
		for _, g := range Feels() {
			if k := mixed[[2]Feel{f, g}]; f != g && k > 1 && k > s.Times {
				s.Called, s.Truth, s.Times, s.Of = f, g, k, int(truth[g])
			}
		}
	}
	s.Say = s.words()
	return s
}

// sitting adds g to its session.
func (s *Score) sitting(g Guess) {
	i := slices.IndexFunc(s.Sessions, func(p Progress) bool { return p.Session == g.Session })
	if i < 0 {
		i = len(s.Sessions)
		s.Sessions = append(s.Sessions, Progress{Session: g.Session})
	}
	p := &s.Sessions[i]
	p.Right *= float64(p.Guesses)
	p.Guesses++
	if g.off() == 0 {
		p.Right++
	}
	p.Right /= float64(p.Guesses)
}

// words says what to work on. A bias counts from two standard errors on.
func (s Score) words() string {
	out := fmt.Sprintf("%.0f %% of %d right", 100*s.Right, s.Guesses)
	if s.Guesses >= 4 { // fewer tell nothing of luck; chosen
		out += fmt.Sprintf(", by luck it would be %.0f %%", 100*s.Expect)
	}
	switch {
	case s.Bias > 2*s.BiasSE:
		out += "; you call it rougher than it is"
	case s.Bias < -2*s.BiasSE:
		out += "; you call it calmer than it is"
	}
	if s.Times > 0 {
		out += fmt.Sprintf("; you called %s what was %s, %d of %d times", s.Called, s.Truth, s.Times, s.Of)
	}
	return out
}
