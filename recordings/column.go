package recordings

import (
	"encoding/binary"
	"hash/crc32"
	"math"
	"slices"

	"vibe/sensor"
)

// A chunk is the samples of about a second, coded without loss: every float64 comes back
// bit for bit, whatever it is.
//
// Samples are mostly whole numbers from a converter or a clock, times a step, in the unit
// that their source gave them. So each column is coded as whole numbers k on the grid that
// was found in it, and what float64 arithmetic makes of k is set right by so many places
// in the row of all float64s, mostly none. A column with no grid is coded as those places.
//
//	chunk  = version (1 byte, 1) | CRC-32 (IEEE) of the rest (4 bytes) | n | axes | columns: times first
//	column = form (1 byte) | its step (float64, not with plain) | series k [ | series of corrections ]
//
// n and axes are unsigned varints; a series is that of putSeries, padded to whole bytes.

// form says how a value is made of k and the step.
type form byte

const (
	plain   form = iota // k is the place in the row of all float64s
	times               // k·step
	over                // k/step
	overG               // k/step·g: decimals of g
	gOver               // k·g/step: whole parts of g
	forms               // how many there are
	mended  form = 0x80 // set when corrections follow
	coding       = 1    // version of the coding
	longest      = 1 << 20
)

// gravity is standard gravity, m/s² (exact by definition, 3rd CGPM 1901).
const gravity = 9.80665

func (f form) value(k int64, step float64) float64 {
	v := float64(k)
	switch f {
	case times:
		return v * step
	case over:
		return v / step
	case overG:
		return v / step * gravity
	case gOver:
		return v * gravity / step
	}
	return unplace(k)
}

// place is the number of v in the row of all float64s, in order; unplace is its inverse.
func place(v float64) int64 {
	b := int64(math.Float64bits(v))
	return b ^ (b >> 63 & math.MaxInt64)
}

func unplace(k int64) float64 { return math.Float64frombits(uint64(k ^ (k >> 63 & math.MaxInt64))) }

// encode codes the samples of b.
func encode(b sensor.Block) []byte {
	body := binary.AppendUvarint(nil, uint64(len(b.T)))
	body = binary.AppendUvarint(body, uint64(len(b.Axes)))
	for _, column := range append([][]float64{b.T}, b.Axes...) {
		body = append(body, encodeColumn(column)...)
	}
	out := binary.BigEndian.AppendUint32([]byte{coding}, crc32.ChecksumIEEE(body))
	return append(out, body...)
}

// decode is the inverse of encode.
func decode(data []byte) (sensor.Block, error) {
	if len(data) < 5 || data[0] != coding || crc32.ChecksumIEEE(data[5:]) != binary.BigEndian.Uint32(data[1:]) {
		return sensor.Block{}, errCoded
	}
	data = data[5:]
	n, data, err := uvarint(data)
	if err != nil {
		return sensor.Block{}, err
	}
	axes, data, err := uvarint(data)
	if err != nil || n == 0 || n > longest || axes == 0 || axes > 3 {
		return sensor.Block{}, errCoded
	}
	var b sensor.Block
	if b.T, data, err = decodeColumn(data, int(n)); err != nil {
		return sensor.Block{}, err
	}
	b.Axes = make([][]float64, axes)
	for i := range b.Axes {
		if b.Axes[i], data, err = decodeColumn(data, int(n)); err != nil {
			return sensor.Block{}, err
		}
	}
	return b, nil
}

func uvarint(data []byte) (uint64, []byte, error) {
	v, size := binary.Uvarint(data)
	if size <= 0 {
		return 0, nil, errCoded
	}
	return v, data[size:], nil
}

// encodeColumn codes v on the grid that needs the fewest corrections, or plainly where that
// is shorter.
func encodeColumn(v []float64) []byte {
	var best grid
	var onGrid, off []int64
	least := len(v)
	for _, g := range grids(v) {
		if least == 0 {
			break
		}
		if k, o, wrong := fit(g, v); wrong < least || onGrid == nil && k != nil {
			best, onGrid, off, least = g, k, o, wrong
		}
	}
	if onGrid != nil && least == 0 {
		return coded(best.form, best.step, onGrid, nil)
	}
	k := make([]int64, len(v))
	for i := range v {
		k[i] = place(v[i])
	}
	short := coded(plain, 0, k, nil)
	if onGrid != nil {
		if c := coded(best.form, best.step, onGrid, off); len(c) < len(short) {
			return c
		}
	}
	return short
}

// coded writes a column: k, and the corrections where there are any.
func coded(f form, step float64, k, off []int64) []byte {
	head := []byte{byte(f)}
	if f != plain {
		head = binary.BigEndian.AppendUint64(head, math.Float64bits(step))
	}
	w := &bitWriter{b: head}
	putSeries(w, k)
	if slices.ContainsFunc(off, func(d int64) bool { return d != 0 }) {
		w.b[0] |= byte(mended)
		w.b = w.bytes()
		putSeries(w, off)
	}
	return w.bytes()
}

func decodeColumn(data []byte, n int) ([]float64, []byte, error) {
	if len(data) == 0 {
		return nil, nil, errCoded
	}
	f, mend := form(data[0])&^mended, form(data[0])&mended != 0
	data = data[1:]
	step := 0.0
	if f != plain {
		if f >= forms || len(data) < 8 {
			return nil, nil, errCoded
		}
		step, data = math.Float64frombits(binary.BigEndian.Uint64(data)), data[8:]
	}
	r := &bitReader{b: data}
	k, err := getSeries(r, n)
	if err != nil {
		return nil, nil, err
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = f.value(k[i], step)
	}
	if mend {
		r = &bitReader{b: r.rest()}
		off, err := getSeries(r, n)
		if err != nil {
			return nil, nil, err
		}
		for i := range out {
			out[i] = unplace(place(out[i]) + off[i])
		}
	}
	return out, r.rest(), nil
}

// grid is a form with its step.
type grid struct {
	form form
	step float64
}

// fit returns k and the corrections that make v on the grid, and how many of those are not
// zero; nil where k would be too large to be exact.
func fit(g grid, v []float64) (k, off []int64, wrong int) {
	k, off = make([]int64, len(v)), make([]int64, len(v))
	unit := g.form.value(1, g.step)
	for i := range v {
		near := math.Round(v[i] / unit)
		if !(math.Abs(near) < 1<<53) {
			return nil, nil, len(v)
		}
		k[i] = int64(near)
		off[i] = place(v[i]) - place(g.form.value(k[i], g.step))
		if off[i] != 0 {
			wrong++
		}
	}
	return k, off, wrong
}

// grids returns the grids that v may lie on: the step found in it as it is, and as the
// decimal or binary fraction that it seems to be. Last come microseconds, which most clocks
// count: in times far from zero that differ by little, rounding hides the step.
func grids(v []float64) []grid {
	var out []grid
	if step := stepOf(v); step > 0 {
		out = append(out, grid{times, step})
		if d := math.Round(1 / step); d >= 1 && close(1/step, d) {
			out = append(out, grid{over, d}, grid{times, 1 / d})
		}
		if d := math.Round(gravity / step); d >= 1 && close(gravity/step, d) {
			out = append(out, grid{overG, d}, grid{gOver, d})
		}
	}
	return append(out, grid{over, 1e6}, grid{times, 1e-6})
}

// close says that a is so near to b that it was meant to be b.
func close(a, b float64) bool { return math.Abs(a-b) < 1e-7*b }

// stepOf returns the largest step of which the values seem to be multiples, 0 for none:
// Euclid's greatest common divisor of the differences, each carried with how far rounding
// may have moved it, then sharpened on the values themselves.
func stepOf(v []float64) float64 {
	top, wide := 0.0, 0.0
	for _, x := range v {
		if math.Abs(x) > math.Abs(top) {
			top = x
		}
		wide = max(wide, math.Abs(x-v[0]))
	}
	ulp := math.Ldexp(math.Abs(top), -52) // of the largest, or up to twice that
	var step rounded
	for i := 1; i < len(v); i++ {
		step = divisor(rounded{math.Abs(v[i] - v[i-1]), 4 * ulp}, step)
		if step.v > 0 && step.v < 64*step.off {
			return 0
		}
	}
	if step.v == 0 || math.IsInf(wide, 0) {
		return 0
	}
	sharp := wide / math.Round(wide/step.v)
	if k := math.Round(top / sharp); k != 0 {
		sharp = top / k
	}
	return math.Abs(sharp)
}

// rounded is a number not below zero, and how far from the truth it may be.
type rounded struct{ v, off float64 }

// divisor is Euclid's greatest common divisor of a and b, told from the multiple of it that
// a is, as exactly as that allows.
func divisor(a, b rounded) rounded {
	whole := a
	for b.v > b.off {
		q := math.Round(a.v / b.v)
		a, b = b, rounded{math.Abs(a.v - q*b.v), a.off + q*b.off}
	}
	if k := math.Round(whole.v / a.v); k > 1 && 4*k*a.off < a.v {
		a = rounded{whole.v / k, whole.off / k}
	}
	return a
}
