package main

import (
	"cmp"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// pngScale is pixels a unit of a plot: 1800 across, sharp on paper too (chosen).
const pngScale = 2

// pngPen draws pixels.
type pngPen struct {
	to          *image.RGBA
	down        float64 // units that this plot lies below the top
	plain, bold font.Face
}

func newPNGPen(height int) (*pngPen, error) {
	p := &pngPen{to: image.NewRGBA(image.Rect(0, 0, pngScale*plotWidth, pngScale*height))}
	draw.Draw(p.to, p.to.Rect, image.White, image.Point{}, draw.Src)
	var err error
	if p.plain, err = face(goregular.TTF); err != nil {
		return nil, err
	}
	p.bold, err = face(gobold.TTF)
	return p, err
}

func face(ttf []byte) (font.Face, error) {
	f, err := opentype.Parse(ttf)
	if err != nil {
		return nil, err
	}
	return opentype.NewFace(f, &opentype.FaceOptions{Size: pngScale * plotFont, DPI: 72, Hinting: font.HintingFull})
}

// fill fills a shape with straight sides.
func (p *pngPen) fill(c colour, corners ...[2]float64) {
	box := p.to.Rect
	for i, at := range corners { // only where the shape is
		at = [2]float64{pngScale * at[0], pngScale * (at[1] + p.down)}
		corners[i] = at
		r := image.Rect(int(at[0]), int(at[1]), int(at[0])+2, int(at[1])+2)
		if i == 0 {
			box = r
		}
		box = box.Union(r)
	}
	v := vector.NewRasterizer(box.Dx(), box.Dy())
	for i, at := range corners {
		x, y := float32(at[0]-float64(box.Min.X)), float32(at[1]-float64(box.Min.Y))
		if i == 0 {
			v.MoveTo(x, y)
		}
		v.LineTo(x, y)
	}
	v.ClosePath()
	v.Draw(p.to, box, image.NewUniform(color.RGBA{c[0], c[1], c[2], 255}), image.Point{})
}

func (p *pngPen) box(c colour, x, y, width, height float64) {
	p.fill(c, [2]float64{x, y}, [2]float64{x + width, y}, [2]float64{x + width, y + height}, [2]float64{x, y + height})
}

func (p *pngPen) line(c colour, x0, y0, x1, y1 float64, dash ...float64) {
	if len(dash) == 0 {
		p.box(c, min(x0, x1)-0.5, min(y0, y1)-0.5, math.Abs(x1-x0)+1, math.Abs(y1-y0)+1)
		return
	}
	length := math.Hypot(x1-x0, y1-y0)
	for at := 0.0; at < length; at += dash[0] + dash[1] {
		a, b := at/length, min(at+dash[0]-1, length)/length // a line sticks out by half a unit at both ends
		p.line(c, x0+a*(x1-x0), y0+a*(y1-y0), x0+b*(x1-x0), y0+b*(y1-y0))
	}
}

func (p *pngPen) dot(c colour, x, y, radius float64) {
	const sides = 32
	var round [][2]float64
	for i := range sides {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / sides)
		round = append(round, [2]float64{x + radius*cos, y + radius*sin})
	}
	p.fill(c, round...)
}

func (p *pngPen) text(x, y float64, at anchor, bold bool, words string) {
	d := font.Drawer{Dst: p.to, Src: image.Black, Face: p.plain}
	if bold {
		d.Face = p.bold
	}
	from := fixed.Int26_6(64 * pngScale * x)
	switch width := d.MeasureString(words); at {
	case middle:
		from -= width / 2
	case end:
		from -= width
	}
	d.Dot = fixed.Point26_6{X: from, Y: fixed.Int26_6(64 * pngScale * (y + p.down))}
	d.DrawString(words)
}

// writePNG draws plots below each other.
func writePNG(w io.Writer, plots ...*plot) error {
	downs, height := below(plots)
	p, err := newPNGPen(height)
	if err != nil {
		return err
	}
	for i, d := range plots {
		p.down = float64(downs[i])
		for _, draw := range d.drawn {
			draw(p)
		}
	}
	return cmp.Or(png.Encode(w, p.to), p.plain.Close(), p.bold.Close())
}
