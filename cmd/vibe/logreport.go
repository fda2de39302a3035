package main

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"vibe/assess"
	"vibe/recordings"
)

//go:embed report.html
var reportPage string

var reportTemplate = template.Must(template.New("report").Parse(reportPage))

func newLogReport(file *shopFile) *cobra.Command {
	var to string
	var force bool
	cmd := &cobra.Command{
		Use:   "report N --to FILE",
		Short: "a session as a page to print (.html), or as drawings (.svg, .png)",
		Args:  takes("NUMBER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			write := map[string]func(*sheet, io.Writer) error{".html": (*sheet).page, ".svg": (*sheet).svg, ".png": (*sheet).png}[strings.ToLower(filepath.Ext(to))]
			if write == nil {
				return usage{hintf("as in --to bowl.html; bowl.svg or bowl.png for the drawings alone", "--to does not name a page or a drawing")}
			}
			return file.viewSession(args[0], func(k *recordings.Session) error {
				s, err := newSheet(k)
				if err != nil {
					return file.explain(err)
				}
				if s.plots == nil && !strings.EqualFold(filepath.Ext(to), ".html") {
					return hintf("vibe log show "+args[0]+" says why", "session %d has no reading that may be used, so there is nothing to draw", k.Number)
				}
				if err := saveOver(to, force, func(w io.Writer) error { return write(s, w) }); err != nil {
					return err
				}
				return writeHarmless(cmd.OutOrStdout(), "%s holds the report of session %d\n", to, k.Number)
			})
		},
	}
	cmd.Flags().SortFlags = false
	toFlag(cmd, &to, &force)
	return cmd
}

// sheet is what the report's page shows.
type sheet struct {
	Title    string
	Facts    []string
	Last     assess.Advice
	Said     []recordings.Said
	Left     int // advices left out
	Marks    []spoken
	Drawings []template.HTML
	Cautions []string
	Edges    string

	plots []*plot
}

func (s *sheet) page(w io.Writer) error { return reportTemplate.Execute(w, s) }

func (s *sheet) svg(w io.Writer) error {
	_, err := io.WriteString(w, svg(s.alone()...))
	return err
}

func (s *sheet) png(w io.Writer) error { return writePNG(w, s.alone()...) }

// alone are the drawings with what must stand beside them where there is no page.
func (s *sheet) alone() []*plot {
	return append(slices.Clone(s.plots), footnotes(s.Title+"; "+s.Facts[0], "Where the words begin: "+s.Edges+".", "vibe advises; you turn. "+s.Cautions[0]))
}

// Clock writes a time for the page.
func (sheet) Clock(t float64) string { return clock(t) }

// Speed writes a speed for the page.
func (sheet) Speed(n assess.RPM) string { return fmt.Sprintf("%.0f", float64(n)) }

// saidShown is how many advices a printed page carries; the first ones go.
const saidShown = 150

func newSheet(k *recordings.Session) (*sheet, error) {
	s := &sheet{Title: fmt.Sprintf("Session %d: %s", k.Number, title(k)), Facts: facts(k), Last: k.Summary.Last,
		Cautions: assess.Cautions(), Edges: assess.EdgesSource}
	all, err := k.Advices(0)
	if err != nil {
		return nil, err
	}
	for _, a := range all {
		s.Said = turned(s.Said, a)
	}
	if s.Left = len(s.Said) - saidShown; s.Left > 0 {
		s.Said = s.Said[s.Left:]
	}
	if s.Marks, err = spokenIn(k); err != nil {
		return nil, err
	}
	cells, err := columns(k)
	if err != nil {
		return nil, err
	}
	if k.Summary.OK > 0 {
		s.plots = []*plot{
			overTime("Shake", "mm/s rms", k, s.Marks, cells, func(c recordings.Cell) (low, high float64) { return c.Low, c.High }, true),
			overTime("Speed", "rpm", k, s.Marks, cells, func(c recordings.Cell) (low, high float64) { return float64(c.Slow), float64(c.Fast) }, false),
			shakeOverSpeed(k.Summary),
		}
	}
	for _, d := range s.plots {
		s.Drawings = append(s.Drawings, template.HTML(svg(d)))
	}
	return s, nil
}

// plotColumns is how many stretches of time a drawing shows at most.
const plotColumns = 360

// columns puts the readings that may be used into equal stretches of time, of two readings at
// least, so that one line is drawn as one.
func columns(k *recordings.Session) ([]recordings.Cell, error) {
	cells := make([]recordings.Cell, min(max(k.Summary.Readings/2, 1), plotColumns))
	err := k.Readings(func(r assess.Reading) bool {
		if i := int((r.T - k.Summary.First) / max(k.Summary.Seconds, 1e-9) * float64(len(cells))); r.OK {
			cells[min(max(i, 0), len(cells)-1)].Join(recordings.Cell{N: 1, Slow: r.Speed, Fast: r.Speed, Low: r.Shake, High: r.Shake})
		}
		return true
	})
	return cells, err
}

func overTime(title, unit string, k *recordings.Session, marks []spoken, cells []recordings.Cell, of func(recordings.Cell) (low, high float64), edges bool) *plot {
	d := &plot{title: title, up: unit, across: "time", left: k.Summary.First, right: k.Summary.First + k.Summary.Seconds}
	air := 1.1
	if edges && len(marks) > 0 {
		air = 1.4 // for their words
	}
	for _, c := range cells {
		_, high := of(c)
		d.top = max(d.top, air*high)
	}
	if edges {
		d.top = max(d.top, 1.1*assess.DefaultEdges[0])
		d.feelEdges()
	}
	for i, c := range cells {
		if low, high := of(c); c.N > 0 {
			width := k.Summary.Seconds / float64(len(cells))
			d.band(d.left+float64(i)*width, d.left+float64(i+1)*width, low, high)
		}
	}
	for i, m := range marks {
		if m.Word != "" {
			d.upright(m.T, i%5, map[bool]string{true: m.Word}[edges])
		}
	}
	d.timeAxes()
	return d
}

func shakeOverSpeed(s recordings.Summary) *plot {
	d := &plot{title: "Shake against speed", up: "mm/s rms; edges: 95 % on a lathe of two resonances", across: "rpm", left: math.Inf(1)}
	points := s.Points()
	for _, p := range points {
		d.left, d.right, d.top = min(d.left, 0.9*float64(p.Speed)), max(d.right, 1.1*float64(p.Speed)), max(d.top, 1.1*p.High)
	}
	d.top = max(d.top, 1.1*assess.DefaultEdges[0])
	d.feelEdges()
	for _, p := range points {
		d.point(float64(p.Speed), p.Shake, p.Low, p.High)
	}
	for _, band := range s.Last.Avoid {
		d.avoid(float64(band[0]), float64(band[1]))
	}
	d.speedAxes()
	return d
}
