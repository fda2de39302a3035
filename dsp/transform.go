package dsp

import "math"

// transform is the discrete Fourier transform of so many real samples, an even number without factors but 2, 3 and 5.
//
// They are taken in pairs, as half as many complex numbers (Press and others, Numerical Recipes, 3rd ed. 2007, ch. 12.3.2), which
// pass by pass become 2, 3, 4 or 5 times fewer transforms each that much longer, in order all the time (Stockham's method; Van
// Loan, Computational Frameworks for the Fast Fourier Transform, 1992, ch. 1.7, 2.4). That of gonum takes three times as long, and
// nine times that where it lies unluckily on the stack.
type transform struct {
	turn []complex128 // exp(−2πi·k/n), n the number of samples
	a, b []complex128 // n/2, and room for one more
}

func newTransform(n int) *transform {
	f := &transform{make([]complex128, n), make([]complex128, n/2, n/2+1), make([]complex128, n/2, n/2+1)}
	for k := range f.turn {
		sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(n))
		f.turn[k] = complex(cos, -sin)
	}
	return f
}

// power fills p with scale·|Xₖ|², X the transform of x, after which there are zeros. It has at most n/2+1 coefficients.
func (f *transform) power(x []float64, scale float64, p []float64) {
	clear(f.a[len(x)/2:])
	for i := range len(x) / 2 {
		f.a[i] = complex(x[2*i], x[2*i+1])
	}
	if len(x)%2 == 1 {
		f.a[len(x)/2] = complex(x[len(x)-1], 0)
	}
	z := f.passes()
	z = append(z, z[0])
	// X is E + exp(−2πi·k/n)·O, those of the even and the odd samples; z is E + iO.
	for k := range p {
		u, v := z[k], z[len(z)-1-k]
		v = complex(real(v), -imag(v))
		p[k] = scale / 4 * power(u+v+f.turn[k%len(f.turn)]*back(u-v))
	}
}

// passes returns the transform of f.a, in f.a or f.b.
func (f *transform) passes() []complex128 {
	from, to := f.a, f.b
	// Of each transform made so far there are s terms; n more make the whole.
	for n, s := len(from), 1; n > 1; from, to = to, from {
		r := 4
		switch {
		case n%4 == 0:
			f.four(from, to, n/4, s)
		case n%5 == 0:
			r = 5
			f.five(from, to, n/5, s)
		case n%3 == 0:
			r = 3
			f.three(from, to, n/3, s)
		default:
			r = 2
			f.two(from, to, n/2, s)
		}
		n, s = n/r, s*r
	}
	return from
}

func (f *transform) two(from, to []complex128, n, s int) {
	for j := range n {
		w := f.turn[2*s*j]
		x0, x1 := from[s*j:][:s], from[s*(j+n):][:s]
		y0, y1 := to[s*2*j:][:s], to[s*(2*j+1):][:s]
		for q := range x0 {
			y0[q], y1[q] = x0[q]+x1[q], w*(x0[q]-x1[q])
		}
	}
}

func (f *transform) three(from, to []complex128, n, s int) {
	const cos, sin = -0.5, 0.86602540378443864676 // of 2π/3
	for j := range n {
		w1, w2 := f.turn[2*s*j], f.turn[4*s*j]
		x0, x1, x2 := from[s*j:][:s], from[s*(j+n):][:s], from[s*(j+2*n):][:s]
		y0, y1, y2 := to[s*3*j:][:s], to[s*(3*j+1):][:s], to[s*(3*j+2):][:s]
		for q := range x0 {
			sum := x1[q] + x2[q]
			c, d := x0[q]+times(cos, sum), back(times(sin, x1[q]-x2[q]))
			y0[q], y1[q], y2[q] = x0[q]+sum, w1*(c+d), w2*(c-d)
		}
	}
}

func (f *transform) four(from, to []complex128, n, s int) {
	for j := range n {
		w1, w2, w3 := f.turn[2*s*j], f.turn[4*s*j], f.turn[6*s*j]
		x0, x1, x2, x3 := from[s*j:][:s], from[s*(j+n):][:s], from[s*(j+2*n):][:s], from[s*(j+3*n):][:s]
		y0, y1, y2, y3 := to[s*4*j:][:s], to[s*(4*j+1):][:s], to[s*(4*j+2):][:s], to[s*(4*j+3):][:s]
		for q := range x0 {
			a, b, c, d := x0[q]+x2[q], x1[q]+x3[q], x0[q]-x2[q], back(x1[q]-x3[q])
			y0[q], y1[q], y2[q], y3[q] = a+b, w1*(c+d), w2*(a-b), w3*(c-d)
		}
	}
}

func (f *transform) five(from, to []complex128, n, s int) {
	const (
		cos1, sin1 = 0.30901699437494742410, 0.95105651629515357212  // of 2π/5
		cos2, sin2 = -0.80901699437494742410, 0.58778525229247312917 // of 4π/5
	)
	for j := range n {
		w1, w2, w3, w4 := f.turn[2*s*j], f.turn[4*s*j], f.turn[6*s*j], f.turn[8*s*j]
		x0, x1, x2, x3, x4 := from[s*j:][:s], from[s*(j+n):][:s], from[s*(j+2*n):][:s], from[s*(j+3*n):][:s], from[s*(j+4*n):][:s]
		y0, y1, y2, y3, y4 := to[s*5*j:][:s], to[s*(5*j+1):][:s], to[s*(5*j+2):][:s], to[s*(5*j+3):][:s], to[s*(5*j+4):][:s]
		for q := range x0 {
			a, b, c, d := x1[q]+x4[q], x2[q]+x3[q], x1[q]-x4[q], x2[q]-x3[q]
			e, g := x0[q]+times(cos1, a)+times(cos2, b), back(times(sin1, c)+times(sin2, d))
			h, l := x0[q]+times(cos2, a)+times(cos1, b), back(times(sin2, c)-times(sin1, d))
			y0[q], y1[q], y2[q], y3[q], y4[q] = x0[q]+a+b, w1*(e+g), w2*(h+l), w3*(h-l), w4*(e-g)
		}
	}
}

func times(v float64, c complex128) complex128 { return complex(v*real(c), v*imag(c)) }

// back returns −i·c, a quarter of a turn back.
func back(c complex128) complex128 { return complex(imag(c), -real(c)) }
