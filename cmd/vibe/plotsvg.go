package main

import (
	"fmt"
	"html"
	"strings"
)

// svgPen writes SVG.
type svgPen struct{ strings.Builder }

func (p *svgPen) put(format string, args ...any) { fmt.Fprintf(p, format+"\n", args...) }

func (c colour) String() string { return fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2]) }

func (p *svgPen) line(c colour, x0, y0, x1, y1 float64, dash ...float64) {
	dashes := ""
	if len(dash) > 0 {
		dashes = fmt.Sprintf(` stroke-dasharray="%s"`, strings.Trim(fmt.Sprint(dash), "[]"))
	}
	p.put(`<path d="M%.1f %.1fL%.1f %.1f" stroke="%v"%s/>`, x0, y0, x1, y1, c, dashes)
}

func (p *svgPen) box(c colour, x, y, width, height float64) {
	p.put(`<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill="%v"/>`, x, y, width, height, c)
}

func (p *svgPen) dot(c colour, x, y, radius float64) {
	p.put(`<circle cx="%.1f" cy="%.1f" r="%.1f" fill="%v"/>`, x, y, radius, c)
}

func (p *svgPen) text(x, y float64, at anchor, bold bool, words string) {
	weight := ""
	if bold {
		weight = ` font-weight="bold"`
	}
	p.put(`<text x="%.1f" y="%.1f" text-anchor="%s"%s>%s</text>`, x, y, at, weight, html.EscapeString(words))
}

// svg is a drawing of plots below each other.
func svg(plots ...*plot) string {
	p := new(svgPen)
	downs, height := below(plots)
	p.put(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" font-family="sans-serif" font-size="%d" role="img">`, plotWidth, height, plotFont)
	p.put(`<rect width="%d" height="%d" fill="white"/>`, plotWidth, height)
	for i, d := range plots {
		p.put(`<g transform="translate(0 %d)"><title>%s</title>`, downs[i], html.EscapeString(d.title))
		for _, draw := range d.drawn {
			draw(p)
		}
		p.put("</g>")
	}
	p.put("</svg>")
	return p.String()
}
