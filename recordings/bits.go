package recordings

import (
	"errors"
	"math/bits"
)

// errCoded is what decoding says of bytes that encoding never wrote.
var errCoded = errors.New("the coded samples are damaged")

// bitWriter packs bits, the highest first.
type bitWriter struct {
	b    []byte
	acc  uint64
	held uint // bits in acc, below 8 between calls
}

// put writes the lowest n bits of v, n up to 64.
func (w *bitWriter) put(v uint64, n uint) {
	if n > 32 {
		w.put(v>>32, n-32)
		n = 32
	}
	w.acc = w.acc<<n | v&(1<<n-1)
	for w.held += n; w.held >= 8; {
		w.held -= 8
		w.b = append(w.b, byte(w.acc>>w.held))
	}
}

// bytes pads with zeros to a whole byte and returns all.
func (w *bitWriter) bytes() []byte {
	if w.held > 0 {
		w.put(0, 8-w.held)
	}
	return w.b
}

// bitReader reads them back. Beyond the end it reads zeros.
type bitReader struct {
	b    []byte
	at   int // of the next byte
	acc  uint64
	held uint // bits in acc that were not taken
}

func (r *bitReader) get(n uint) uint64 {
	if n > 32 {
		return r.get(n-32)<<32 | r.get(32)
	}
	for r.held < n {
		r.fill()
	}
	r.held -= n
	return r.acc >> r.held & (1<<n - 1)
}

// fill takes the next byte.
func (r *bitReader) fill() {
	r.acc <<= 8
	r.held += 8
	if r.at < len(r.b) {
		r.acc |= uint64(r.b[r.at])
	}
	r.at++
}

// short says that more bits were taken than there were.
func (r *bitReader) short() bool { return r.at-int(r.held/8) > len(r.b) }

// rest is what follows the byte of which bits were taken last.
func (r *bitReader) rest() []byte { return r.b[min(r.at-int(r.held/8), len(r.b)):] }

// ones counts the ones before the next zero, which it takes too, but at most escape of them.
func (r *bitReader) ones() uint {
	for r.held < escape+1 { // 8 + 24 bits fit in any case
		r.fill()
	}
	q := uint(bits.LeadingZeros64(^(r.acc << (64 - r.held))))
	r.held -= min(q+1, escape)
	return min(q, escape)
}

// Rice coding (R. F. Rice, Some Practical Universal Noiseless Coding Techniques, JPL
// Publication 79-22, 1979) of what polynomial prediction of order 0 to 3 leaves (T.
// Robinson, SHORTEN, Cambridge University report CUED/F-INFENG/TR.156, 1994). All
// arithmetic wraps, so that any 64-bit numbers come back.
const (
	run     = 256 // numbers that share one Rice parameter; chosen
	escape  = 24  // ones after which the number follows in full; chosen
	allZero = 63  // the parameter of a run of zeros, which no other run needs
)

// putSeries writes x, whose length the reader must know.
func putSeries(w *bitWriter, x []int64) {
	base := mean(x)
	best, order, least := []uint64(nil), uint(0), 0
	for o := uint(0); o <= 3; o++ {
		r := residuals(x, base, o)
		size := 0
		for _, u := range r {
			size += bits.Len64(u)
		}
		if best == nil || size < least {
			best, order, least = r, o, size
		}
	}
	w.put(uint64(base), 64)
	w.put(uint64(order), 2)
	for ; len(best) > 0; best = best[min(run, len(best)):] {
		putRun(w, best[:min(run, len(best))])
	}
}

// mean is a number in the midst of x.
func mean(x []int64) int64 {
	sum := int64(0)
	for _, v := range x {
		sum += (v - x[0]) / int64(len(x))
	}
	if len(x) == 0 {
		return 0
	}
	return x[0] + sum
}

// residuals are the differences of the given order of x−base, folded to 0, −1, 1, −2 …
func residuals(x []int64, base int64, order uint) []uint64 {
	out := make([]uint64, len(x))
	var past [3]int64 // the last value, the one before, …
	for i, v := range x {
		v -= base
		d := v - predicted(past, order)
		out[i] = uint64(d<<1) ^ uint64(d>>63)
		past = [3]int64{v, past[0], past[1]}
	}
	return out
}

func predicted(past [3]int64, order uint) int64 {
	switch order {
	case 1:
		return past[0]
	case 2:
		return 2*past[0] - past[1]
	case 3:
		return 3*past[0] - 3*past[1] + past[2]
	}
	return 0
}

func putRun(w *bitWriter, r []uint64) {
	k := parameter(r)
	w.put(uint64(k), 6)
	if k == allZero {
		return
	}
	for _, u := range r {
		q := u >> k
		if q >= escape {
			w.put(1<<escape-1, escape)
			w.put(u, 64)
			continue
		}
		w.put((1<<q-1)<<1, uint(q)+1)
		w.put(u, k)
	}
}

// parameter returns the Rice parameter that makes r shortest.
func parameter(r []uint64) uint {
	most := uint64(0)
	for _, u := range r {
		most = max(most, u)
	}
	if most == 0 {
		return allZero
	}
	sum := 0.0
	for _, u := range r {
		sum += float64(u)
	}
	// Near log2 of the mean it is shortest, lower where a few are far above the rest.
	k := uint(min(bits.Len64(uint64(sum/float64(len(r)))), allZero-1))
	best, least := k, length(r, k)
	for k > 0 && best-k < 3 {
		k--
		if n := length(r, k); n < least {
			best, least = k, n
		}
	}
	return best
}

// length is the number of bits of r with parameter k.
func length(r []uint64, k uint) uint64 {
	n := uint64(len(r)) * uint64(k+1)
	for _, u := range r {
		q := u >> k
		if q >= escape {
			q = escape + 64 - uint64(k+1)
		}
		n += q
	}
	return n
}

// getSeries reads n numbers that putSeries wrote.
func getSeries(r *bitReader, n int) ([]int64, error) {
	base, order := int64(r.get(64)), uint(r.get(2))
	x := make([]int64, n)
	var past [3]int64
	var k uint
	for i := range x {
		if i%run == 0 {
			k = uint(r.get(6))
		}
		if r.short() {
			return nil, errCoded
		}
		u := uint64(0)
		if k != allZero {
			if q := r.ones(); q < escape {
				u = uint64(q)<<k | r.get(k)
			} else {
				u = r.get(64)
			}
		}
		v := int64(u>>1) ^ -int64(u&1) + predicted(past, order)
		past = [3]int64{v, past[0], past[1]}
		x[i] = v + base
	}
	if r.short() {
		return nil, errCoded
	}
	return x, nil
}
