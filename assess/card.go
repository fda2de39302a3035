package assess

import (
	"fmt"
	"html"
	"slices"
	"strings"
)

// Card is a speed card for the wall: the fastest speed of a lathe for a diameter and a
// task, of bowls half as long as wide, of unknown wood soaking wet, on a faceplate
// without tailstock. A 0 is a blank that this lathe cannot turn slowly enough.
type Card struct {
	Lathe     Lathe
	Diameters []MM
	Tasks     []Task
	Speeds    [][]RPM // a row for each diameter
}

// cardTasks are the columns, with the balance that a blank has by then: sawn at first, true
// once shaped.
var cardTasks = []Task{Roughing, Shaping, Finishing, Sanding}

// MakeCard returns the card of a lathe. It returns an InputError for a lathe that cannot
// be.
func MakeCard(l Lathe) (Card, error) {
	if err := l.Validate(); err != nil {
		return Card{}, err
	}
	c := Card{Lathe: l, Tasks: cardTasks}
	for _, d := range []MM{75, 100, 150, 200, 250, 300, 350, 400, 450, 500} {
		var row []RPM
		for _, t := range c.Tasks {
			b := Blank{Diameter: d, Length: d / 2, Held: Faceplate, Balance: Sawn}
			if t == Finishing || t == Sanding {
				b.Balance = True
			}
			row = append(row, l.Fit(Ceilings(l, b, t)[0].RPM))
		}
		c.Diameters, c.Speeds = append(c.Diameters, d), append(c.Speeds, row)
	}
	return c, nil
}

func (c Card) title() string {
	low, high := c.Lathe.Range()
	title := "Fastest speeds, rpm"
	if c.Lathe.Name != "" {
		title += ": " + c.Lathe.Name
	}
	if low > 0 && high > 0 {
		title += fmt.Sprintf(" (%.0f to %.0f)", float64(low), float64(high))
	}
	return title
}

// Notes say what the speeds hold for. The cautions go with them, on every card.
func (c Card) Notes() []string {
	notes := []string{"Sound, sawn bowl blanks half as long as wide, on a faceplate, no tailstock; round from finishing on.",
		"Start at half of it. Burls, voids, long overhang, one screw, suction: slower.", "All of it: " + practice + "."}
	if slices.ContainsFunc(c.Speeds, func(row []RPM) bool { return slices.Contains(row, 0) }) {
		notes = append(notes, "no: this lathe has no speed slow enough.")
	}
	if c.Lathe.rangeUnknown() != "" {
		notes = append(notes, "T"+c.Lathe.rangeUnknown()[1:]+".")
	}
	return notes
}

func (c Card) head(d int) string { return fmt.Sprintf("%.0f mm", float64(c.Diameters[d])) }

func speedText(n RPM) string {
	if n == 0 {
		return "no"
	}
	return fmt.Sprintf("%.0f", float64(n))
}

// Text is the title and the table, without a line's end after the last row.
func (c Card) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n\n%-8s", c.title(), "")
	for _, t := range c.Tasks {
		fmt.Fprintf(&b, "%11s", t)
	}
	for i, row := range c.Speeds {
		fmt.Fprintf(&b, "\n%-8s", c.head(i))
		for _, n := range row {
			fmt.Fprintf(&b, "%11s", speedText(n))
		}
	}
	return b.String()
}

// SVG is the card as a drawing of its own size, to print, with notes and cautions.
func (c Card) SVG() string {
	const line, column = 34, 130
	var b strings.Builder
	notes := append(c.Notes(), Cautions()...)
	width, height := column*(len(c.Tasks)+1)+60, line*(len(c.Diameters)+3)+24*len(notes)
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" font-family="sans-serif">`+"\n", width, height)
	fmt.Fprintf(&b, `<rect width="%d" height="%d" fill="white"/>`+"\n", width, height)
	put := func(x, y, size int, anchor, text string) {
		fmt.Fprintf(&b, `<text x="%d" y="%d" font-size="%d" text-anchor="%s">%s</text>`+"\n", x, y, size, anchor, html.EscapeString(text))
	}
	put(30, line, 24, "start", c.title())
	for j, t := range c.Tasks {
		put(column*(j+2), 2*line, 20, "end", string(t))
	}
	for i, row := range c.Speeds {
		y := line * (i + 3)
		fmt.Fprintf(&b, `<path d="M30 %d H%d" stroke="silver"/>`+"\n", y-line+10, width-60)
		put(30, y, 20, "start", c.head(i))
		for j, n := range row {
			put(column*(j+2), y, 20, "end", speedText(n))
		}
	}
	for i, note := range notes {
		put(30, line*(len(c.Diameters)+3)+24*i, 12, "start", note)
	}
	b.WriteString("</svg>\n")
	return b.String()
}
