package recordings

import (
	"math"
	"slices"
	"time"

	"vibe/assess"
	"vibe/sensor"
)

// Summary is a session at a glance. Its size does not grow with the length of the session,
// and it is stored with every second of samples.
type Summary struct {
	First    float64 `json:"first_s"` // time of the first sample, s since the source opened
	Seconds  float64 `json:"seconds"` // from the first sample to the last, on the source's clock
	Samples  int     `json:"samples"`
	Lost     int     `json:"lost"` // samples known to be missing
	Axes     int     `json:"axes"` // 0: no sample came
	Readings int     `json:"readings"`
	OK       int     `json:"ok"` // readings with numbers that may be used
	// Trace is shake over time in at most traceCells cells of equal length, from First on.
	Trace []Cell `json:"trace"`
	// Cell is the length of a cell, s.
	CellSpan float64 `json:"cell_s"`
	// Map is shake against speed as measured, by rising speed.
	Map []Speed `json:"map"`
	// Last is the newest advice that was more than to wait; its Action is "" where there
	// was none.
	Last assess.Advice `json:"last"`
	// Written is when it was stored.
	Written time.Time `json:"written"`
}

// Cell is what the readings that may be used say of one stretch of time; nothing where N is 0.
type Cell struct {
	N    int        `json:"n"` // readings
	Slow assess.RPM `json:"slow_rpm"`
	Fast assess.RPM `json:"fast_rpm"`
	Low  float64    `json:"low_mm_s"` // smallest shake, mm/s rms
	High float64    `json:"high_mm_s"`
}

// Speed is the shake at one speed, from all readings of the session that may be used.
type Speed struct {
	Speed  assess.RPM `json:"speed_rpm"`  // mean
	Shake  float64    `json:"shake_mm_s"` // mean, mm/s rms
	Square float64    `json:"square"`     // sum of the squared deviations from it
	N      int        `json:"n"`          // readings
	Most   float64    `json:"most_mm_s"`  // largest shake
}

// The sizes of a summary, chosen: as many cells as fit a terminal's line or a small
// picture, and speeds that differ by less than a turner can set on a dial are one.
const (
	traceCells = 60
	firstCell  = 0.5 // s
	oneSpeed   = 0.02
)

// SD is the standard deviation of the single readings, mm/s rms; 0 below two of them.
func (s Speed) SD() float64 {
	if s.N < 2 {
		return 0
	}
	return math.Sqrt(s.Square / float64(s.N-1))
}

// SE is a standard error of the mean, mm/s rms: the readings come four a second and look at
// two seconds or more, so that eight of them count as one look (as in package assess), and
// no mean is known better than to 2 % (chosen: mounting, temperature and cutting move it).
func (s Speed) SE() float64 {
	looks := max(1, float64(s.N)/8)
	sd := s.SD()
	if s.N < 8 {
		sd = max(sd, 0.1*s.Shake) // too few to know their spread; chosen
	}
	return math.Hypot(sd/math.Sqrt(looks), 0.02*s.Shake)
}

// Rate is the mean number of samples a second, those that are lost as well, 0 where not known.
func (s Summary) Rate() float64 {
	if s.Samples < 2 || !(s.Seconds > 0) {
		return 0
	}
	return float64(s.Samples+s.Lost-1) / s.Seconds
}

// Points is Map as the adviser draws it, with 95 % edges.
func (s Summary) Points() []assess.MapPoint {
	out := []assess.MapPoint{}
	for _, m := range s.Map {
		edge := 1.96 * m.SE()
		out = append(out, assess.MapPoint{Speed: m.Speed, Shake: m.Shake, Low: max(0, m.Shake-edge), High: m.Shake + edge, Seen: true})
	}
	return out
}

func (s *Summary) block(b sensor.Block, first float64) {
	s.Lost += b.Lost
	if n := len(b.T); n > 0 {
		s.Samples += n
		s.Axes = len(b.Axes)
		s.First, s.Seconds = first, b.T[n-1]-first
	}
}

func (s *Summary) see(r assess.Reading, a assess.Advice) {
	s.Readings++
	if a.Action != assess.Wait {
		s.Last = a
	}
	if !r.OK {
		return
	}
	s.OK++
	s.trace(r)
	at, found := slices.BinarySearchFunc(s.Map, r.Speed, func(m Speed, n assess.RPM) int {
		switch {
		case float64(m.Speed) < float64(n)*(1-oneSpeed/2):
			return -1
		case float64(m.Speed) > float64(n)*(1+oneSpeed/2):
			return 1
		}
		return 0
	})
	if !found {
		s.Map = slices.Insert(s.Map, at, Speed{})
	}
	s.Map[at].add(r)
}

// add is Welford's running mean and sum of squares (Technometrics 4, 1962, 419).
func (s *Speed) add(r assess.Reading) {
	s.N++
	off := r.Shake - s.Shake
	s.Shake += off / float64(s.N)
	s.Square += off * (r.Shake - s.Shake)
	s.Speed += (r.Speed - s.Speed) / assess.RPM(s.N)
	s.Most = max(s.Most, r.Shake)
}

// trace puts a reading into its cell; when the cells are used up two become one.
func (s *Summary) trace(r assess.Reading) {
	if s.CellSpan == 0 {
		s.CellSpan = firstCell
	}
	at := r.T - s.First
	for at >= s.CellSpan*traceCells {
		for i := range s.Trace {
			if i%2 == 1 {
				s.Trace[i/2].Join(s.Trace[i])
			} else {
				s.Trace[i/2] = s.Trace[i]
			}
		}
		s.Trace = s.Trace[:(len(s.Trace)+1)/2]
		s.CellSpan *= 2
	}
	i := max(0, int(at/s.CellSpan))
	for len(s.Trace) <= i {
		s.Trace = append(s.Trace, Cell{})
	}
	s.Trace[i].Join(Cell{1, r.Speed, r.Speed, r.Shake, r.Shake})
}

// Join makes c the cell of both stretches.
func (c *Cell) Join(d Cell) {
	switch {
	case d.N == 0:
	case c.N == 0:
		*c = d
	default:
		*c = Cell{c.N + d.N, min(c.Slow, d.Slow), max(c.Fast, d.Fast), min(c.Low, d.Low), max(c.High, d.High)}
	}
}
