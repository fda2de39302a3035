package serial

import (
	"fmt"
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseSample(t *testing.T) {
	t.Parallel()
	bare := func(x, y, z float64) sample { return sample{v: [3]float64{x, y, z}} }
	stamped := func(us uint32, x, y, z float64) sample { return sample{true, us, [3]float64{x, y, z}} }
	for text, want := range map[string]sample{
		"1,2,3":                   bare(1, 2, 3),
		"-1,+2,-.5\r":             bare(-1, 2, -0.5),
		"0.01\t-0.02\t0.98":       bare(0.01, -0.02, 0.98),
		"  1   2  3  ":            bare(1, 2, 3),
		"1e-3, 2E2 ,3":            bare(0.001, 200, 3),
		"1;2;3":                   bare(1, 2, 3),
		"0,1,2,3":                 stamped(0, 1, 2, 3),
		"4294967295,-16,0,1000":   stamped(math.MaxUint32, -16, 0, 1000),
		"4294967296,-16,0,1000":   stamped(0, -16, 0, 1000), // a clock of 64 bits goes on
		"1250 -12 34 1003":        stamped(1250, -12, 34, 1003),
		"1250,\t-12,\t34,\t1003 ": stamped(1250, -12, 34, 1003),
	} {
		got, ok := parseSample([]byte(text))
		assert.True(t, ok, "%q", text)
		assert.Equal(t, want, got, "%q", text)
	}
	for _, text := range []string{
		"", " ", "1", "1,2", "1,2,", "1,2,3,", "1,2,3,4,5", ",1,2,3", "1,,2,3", "1,2,3 g", "1,2,x",
		"NaN,1,2", "Inf,1,2", "0x10,1,2", "1_0,1,2", "1,2,1e999", "1250,99999999999999999999,1,1000", "1250,12,-16777217,3", "1,2,-", "1.5,1,2,3", "-5,1,2,3",
		"99999999999999999999999,1,2,3", "Booting v1.2", "1,2,3\x00", "1,2,\xff", "1-2,3,4", "--1,2,3", "1,2,3,e",
	} {
		_, ok := parseSample([]byte(text))
		assert.False(t, ok, "%q", text)
	}
}

func TestParseHeader(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]header{
		"#":                                  {},
		"# accelerometer of the workshop":    {},
		"# unit=mg rate=800 range=16g":       {unit: "mg", rate: 800, limit: 16 * gravity},
		"#unit=m/s2,rate=1000.5":             {unit: "m/s2", rate: 1000.5},
		"# UNIT=G\tRange=2":                  {unit: "g", limit: 2, bare: true},
		"# unit=counts range=32768\r":        {unit: "counts", limit: 32768, bare: true},
		"# range=20m/s2":                     {limit: 20},
		"# unit=furlongs rate=-1 range=big":  {},
		"# rate=NaN range=Inf":               {},
		"# error=SDA stuck\x1b[2J\u009b\xff": {trouble: "SDA stuck?[2J??"},
		"# rate=800 error=no sensor: 0x00":   {rate: 800, trouble: "no sensor: 0x00"},
	} {
		assert.Equal(t, want, parseHeader(text), "%q", text)
	}
}

// TestSampleWritten: what is written is read back, whatever stands between the numbers.
func TestSampleWritten(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := sample{stamped: rapid.Bool().Draw(t, "stamped")}
		if s.stamped {
			s.us = rapid.Uint32().Draw(t, "us")
		}
		for k := range s.v {
			s.v[k] = rapid.Float64Range(-mostSent, mostSent).Draw(t, "v")
		}
		got, ok := parseSample(write(s, rapid.SampledFrom([]string{",", ", ", "\t", "  ", " ; "}).Draw(t, "between")))
		require.True(t, ok)
		require.Equal(t, s, got)
	})
}

// write is the inverse of parseSample.
func write(s sample, between string) []byte {
	var b []byte
	if s.stamped {
		b = append(strconv.AppendUint(b, uint64(s.us), 10), between...)
	}
	for k, v := range s.v {
		if k > 0 {
			b = append(b, between...)
		}
		b = strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	return b
}

// FuzzLine: no line panics, and a sample that was read is written and read again as itself.
func FuzzLine(f *testing.F) {
	for _, seed := range []string{"1,2,3", "4294967295\t-16\t.5\t1e3", "# unit=mg rate=800 range=16g", "# error=\xff", ",,,", "1,2,3,4,5", "\x00\r"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		h := parseHeader(string(text))
		require.True(t, h.rate >= 0 && h.rate <= absurd && h.limit >= 0 && h.limit <= absurd*gravity, "%+v", h)
		s, ok := parseSample(text)
		if !ok {
			return
		}
		for _, v := range s.v {
			require.False(t, math.IsNaN(v) || math.IsInf(v, 0))
		}
		again, ok := parseSample(write(s, ","))
		require.True(t, ok)
		require.Equal(t, s, again)
	})
}

// FuzzStream: whatever comes, in whatever pieces, blocks keep their promise.
func FuzzStream(f *testing.F) {
	f.Add([]byte("# unit=g rate=800\n0,0,0,1\n1250,0,0,1\n"), uint8(7))
	f.Add([]byte("0,0,1\n0,0,1\n\xff\xfe\n"), uint8(1))
	f.Fuzz(func(t *testing.T, text []byte, piece uint8) {
		s := &stream{port: "p"}
		for k := range 40 { // enough of a good board before for the rest to count
			s.feed(fmt.Appendf(nil, "# unit=mg\n%d,0,0,1000\n", 40000*k), 0.04*float64(k))
		}
		last, at := 0.0, 1.6
		for n := int(piece%64) + 1; len(text) > 0; text = text[min(n, len(text)):] {
			at += 0.05
			s.feed(text[:min(n, len(text))], at)
			s.tick(at)
			b, _ := s.held.Take()
			for i, x := range b.T {
				require.Greater(t, x, last)
				last = x
				for _, a := range b.Axes {
					require.False(t, math.IsNaN(a[i]) || math.IsInf(a[i], 0))
				}
			}
			require.GreaterOrEqual(t, b.Lost, 0)
		}
	})
}

// BenchmarkLine is what a sample costs from bytes to block, in bunches as USB brings them.
func BenchmarkLine(b *testing.B) {
	const lines = 8
	s := &stream{port: "p"}
	s.feed([]byte("# unit=mg rate=800 range=16g\n"), 0)
	var text []byte
	us := uint32(0)
	b.ReportAllocs()
	for b.Loop() {
		text = text[:0]
		for range lines {
			text = append(strconv.AppendUint(text, uint64(us), 10), ",-12,345,1003\n"...)
			us += 1250
		}
		s.feed(text, 0)
		s.held.Take()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/lines, "ns/sample")
}
