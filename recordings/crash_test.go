package recordings_test

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/recordings"
	"vibe/sensor"
)

var kills = flag.Int("kills", 8, "how many writers TestKilled kills")

// mayBeLost is what a killed process may take with it, s.
const mayBeLost = 2.0

// TestMain is also the writer that TestKilled kills.
func TestMain(m *testing.M) {
	if path := os.Getenv("VIBE_TEST_WRITE"); path != "" {
		if err := writeForEver(path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// quarter is the i-th quarter of a second of samples that anybody can compute again.
func quarter(i int) sensor.Block {
	if b, ok := quarters.Load(i); ok {
		return b.(sensor.Block)
	}
	b := makeQuarter(i)
	quarters.Store(i, b)
	return b
}

var quarters sync.Map

func makeQuarter(i int) sensor.Block {
	const n = 250
	rng := rand.New(rand.NewPCG(uint64(i), 5))
	b := sensor.Block{Axes: make([][]float64, 3), Range: 39.2}
	for k := range n {
		b.T = append(b.T, float64(1000*(i*n+k)+rng.IntN(40))/1e6)
		for a := range b.Axes {
			b.Axes[a] = append(b.Axes[a], math.Round(2000+1500*math.Sin(float64(i*n+k)/16)+330*rng.NormFloat64())*(9.80665/8192))
		}
	}
	return b
}

// writeForEver keeps a session and says its number, and after each block up to when it came.
func writeForEver(path string) error {
	s, err := recordings.Open(path)
	if err != nil {
		return err
	}
	w, err := s.Begin(setup())
	if err != nil {
		return err
	}
	fmt.Println(w.Number())
	for i := 0; ; i++ {
		b := quarter(i)
		if err := w.Append(b); err != nil {
			return err
		}
		end := b.T[len(b.T)-1]
		r := assess.Reading{T: end, Span: 1, OK: true, Speed: 600, SpeedSE: 1, Shake: 2, ShakeSE: 0.01, Feel: assess.Lively}
		if err := w.Say(r, assess.Advice{Action: assess.Hold, Speed: 600, Say: "hold"}); err != nil {
			return err
		}
		fmt.Println(end)
	}
}

// victim is a writer in a process of its own.
type victim struct {
	cmd    *exec.Cmd
	said   *bufio.Scanner
	number int64
}

func startWriter(t *testing.T, path string) victim {
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), "VIBE_TEST_WRITE="+path)
	cmd.Stderr = os.Stderr
	pipe, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	v := victim{cmd: cmd, said: bufio.NewScanner(pipe)}
	require.True(t, v.said.Scan(), "the writer said nothing")
	v.number, err = strconv.ParseInt(v.said.Text(), 10, 64)
	require.NoError(t, err)
	return v
}

// kill lets the writer take some blocks more, kills it in whatever it is doing then, and
// returns the time up to which it had taken samples.
func (v victim) kill(t *testing.T, after int) float64 {
	for range after {
		require.True(t, v.said.Scan())
	}
	require.NoError(t, v.cmd.Process.Kill())
	taken := 0.0
	for more := after > 0; more; more = v.said.Scan() {
		if at, err := strconv.ParseFloat(v.said.Text(), 64); err == nil {
			taken = max(taken, at) // the last line may be cut
		}
	}
	require.Error(t, v.cmd.Wait(), "a killed process")
	return taken
}

// kept reads a session and requires its samples to be the first that were taken; it returns
// the time of the last.
func kept(t *testing.T, s *recordings.Shop, number int64) float64 {
	t.Helper()
	k, err := s.Session(number)
	require.NoError(t, err)
	got := joined(drain(t, k))
	var all []sensor.Block
	for i := range len(got.T)/250 + 1 {
		all = append(all, quarter(i))
	}
	want := joined(all)
	n := len(got.T)
	if n == 0 {
		return 0
	}
	require.Equal(t, want.T[:n], got.T)
	for a := range got.Axes {
		require.Equal(t, want.Axes[a][:n], got.Axes[a])
	}
	require.Zero(t, got.Lost)
	assert.Equal(t, n, k.Summary.Samples)
	return got.T[n-1]
}

func drain(t testing.TB, src sensor.Source) []sensor.Block {
	var out []sensor.Block
	for {
		b, err := src.Next()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		out = append(out, b)
	}
}

// Writers are killed at random moments, all on one shop file and two at a time now and
// then: what they had taken is there but for the last two seconds, and the file is sound.
func TestKilled(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "shop")
	rng := rand.New(rand.NewPCG(uint64(*kills), 1))
	worst := 0.0
	for i := range *kills {
		writers := []victim{startWriter(t, path)}
		if i%4 == 3 {
			writers = append(writers, startWriter(t, path))
		}
		for _, v := range writers {
			taken := v.kill(t, 1+rng.IntN(40))
			s, err := recordings.View(path)
			require.NoError(t, err)
			lost := taken - kept(t, s, v.number)
			worst = max(worst, lost)
			require.LessOrEqual(t, lost, mayBeLost, "session %d", v.number)
			k, err := s.Session(v.number)
			require.NoError(t, err)
			assert.False(t, k.Ended)
			require.NoError(t, s.Close())
		}
	}
	t.Logf("%d kills, at most %.2f s lost", *kills, worst)
	s := shopAt(t, path)
	all, err := s.Sessions(recordings.Filter{})
	require.NoError(t, err)
	assert.GreaterOrEqual(t, len(all), *kills)
}

// filled returns a shop file with sessions of some length, closed in order.
func filled(t *testing.T, sessions, quarters int) string {
	path := filepath.Join(t.TempDir(), "shop")
	s, err := recordings.Open(path)
	require.NoError(t, err)
	for range sessions {
		w, err := s.Begin(setup())
		require.NoError(t, err)
		for i := range quarters {
			require.NoError(t, w.Append(quarter(i)))
		}
		require.NoError(t, w.Close())
	}
	require.NoError(t, s.Close())
	return path
}

// A file that was cut short anywhere behind its first page is refused to a writer and left
// alone; its sessions are read up to the cut, each sample as it was, and Check names what
// is missing.
func TestCutShort(t *testing.T) {
	t.Parallel()
	const sessions, quarters = 2, 240
	path := filled(t, sessions, quarters)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	samples := quarters * 250
	density := float64(sessions*samples) / float64(len(whole)-1<<16) // of samples, a byte; the tables' shape takes the rest
	rng := rand.New(rand.NewPCG(9, 9))
	for range 5 {
		size := 8192 + rng.IntN(len(whole)-8192)
		cut := filepath.Join(t.TempDir(), "cut")
		require.NoError(t, os.WriteFile(cut, whole[:size], 0o644))
		_, err := recordings.Open(cut)
		require.ErrorIs(t, err, recordings.ErrDamaged)

		s, err := recordings.View(cut)
		require.NoError(t, err)
		all, err := s.Sessions(recordings.Filter{})
		if err != nil {
			require.ErrorIs(t, err, recordings.ErrDamaged)
		}
		read := 0
		for _, k := range all {
			got := joined(drain(t, k))
			read += len(got.T)
			if n := len(got.T); n > 0 {
				assert.Equal(t, setup().Label, k.Setup.Label)
				assert.GreaterOrEqual(t, k.Summary.Seconds, got.T[n-1]-got.T[0])
				assert.GreaterOrEqual(t, k.Summary.Samples, n)
				assert.Equal(t, 3, k.Summary.Axes)
				assert.LessOrEqual(t, len(got.T)+got.Lost, samples+2000)
				if n < samples {
					assert.NotEmpty(t, got.Notes)
				}
			}
			requireSome(t, got)
		}
		gone := density*float64(len(whole)-size) + 2*1250 // and the chunks that were cut, at both ends of a page
		assert.GreaterOrEqual(t, float64(read), float64(sessions*samples)-gone, "cut to %d of %d bytes", size, len(whole))
		assert.NotEmpty(t, troubles(t, s))

		sound := filepath.Join(t.TempDir(), "sound")
		missing, err := s.Backup(sound)
		require.NoError(t, err)
		assert.NotEmpty(t, missing)
		require.NoError(t, s.Close())
		saved := 0
		rescued, err := recordings.Open(sound)
		require.NoError(t, err)
		for _, k := range all {
			again, err := rescued.Session(k.Number)
			require.NoError(t, err)
			assert.Equal(t, k.Setup, again.Setup)
			got := joined(drain(t, again))
			saved += len(got.T)
			assert.Equal(t, len(got.T) < samples, len(got.Notes) > 0, "what is missing is said in the copy too")
			requireSome(t, got)
		}
		assert.Equal(t, read, saved, "what can be read can be saved")
		for _, trouble := range troubles(t, rescued) {
			assert.NotZero(t, trouble.Session, "the new file itself is sound: %s", trouble.Text)
		}
		w, err := rescued.Begin(setup())
		require.NoError(t, err)
		require.NoError(t, errors.Join(w.Close(), rescued.Close()))
		now, err := os.ReadFile(cut)
		require.NoError(t, err)
		assert.True(t, string(now) == string(whole[:size]), "the cut file was written to")
	}
}

// requireSome requires samples to be those of quarter, each at its place.
func requireSome(t *testing.T, got sensor.Block) {
	t.Helper()
	for i := 0; i < len(got.T); {
		q := int(got.T[i] / 0.25)
		want := quarter(q)
		for k := range want.T {
			if i < len(got.T) && got.T[i] == want.T[k] {
				require.Equal(t, want.Axes[0][k], got.Axes[0][i])
				i++
			}
		}
		if i < len(got.T) {
			require.NotEqual(t, q, int(got.T[i]/0.25), "a sample that nobody took")
		}
	}
}

// Pages that were overwritten cost what lay on them.
func TestOverwritten(t *testing.T) {
	t.Parallel()
	path := filled(t, 1, 240)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	rng := rand.New(rand.NewPCG(3, 3))
	for range 8 {
		at := 8192 + 4096*rng.IntN(len(whole)/4096-2)
		spoilt := append([]byte{}, whole...)
		for i := range 4096 {
			spoilt[at+i] = byte(rng.Uint32())
		}
		require.NoError(t, os.WriteFile(path, spoilt, 0o644))
		s, err := recordings.View(path)
		require.NoError(t, err)
		all, err := s.Sessions(recordings.Filter{})
		require.NoError(t, err)
		for _, k := range all {
			got := joined(drain(t, k))
			requireSome(t, got)
			assert.GreaterOrEqual(t, len(got.T), (240-16)*250, "page %d", at/4096)
		}
		assert.NotEmpty(t, troubles(t, s), "page %d", at/4096)
		require.NoError(t, s.Close())
	}
}
