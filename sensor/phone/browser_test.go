package phone_test

import (
	"context"
	"fmt"
	"io"
	"log"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/dsp"
	"vibe/sensor/phone"
)

// browser starts Chromium, which takes any certificate and finds lathe.test on this machine.
// A machine without one skips; where VIBE_CI is set that is a failure.
func browser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser in real time")
	}
	path, err := exec.LookPath("chromium")
	if err != nil && os.Getenv("VIBE_CI") == "" {
		t.Skip("no chromium on this machine (Debian: apt install chromium)")
	}
	require.NoError(t, err)
	ctx, cancel := context.WithTimeout(t.Context(), 90*time.Second) // the start, too, may hang on a busy machine
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewExecAllocator(ctx, append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.IgnoreCertErrors,
		chromedp.Flag("disable-quic", true), chromedp.Flag("host-resolver-rules", "MAP lathe.test 127.0.0.1"))...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx)) // starts it
	return ctx
}

// eval runs script in the page.
func eval[T any](t *testing.T, ctx context.Context, script string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](script))
	require.NoError(t, err, script)
	return v
}

// reads waits until the element of that id contains text.
func reads(t *testing.T, ctx context.Context, id, text string) {
	t.Helper()
	var got string
	require.Eventually(t, func() bool {
		got = eval[string](t, ctx, fmt.Sprintf("document.getElementById(%q).textContent", id))
		return strings.Contains(got, text)
	}, 15*time.Second, 20*time.Millisecond, "#%s never reads %q", id, text)
}

// network is a way to a server that can be cut.
type network struct {
	net.Listener
	to string

	mu    sync.Mutex
	cut   bool
	conns []net.Conn
}

func newNetwork(t *testing.T, to string) *network {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	n := &network{Listener: l, to: to}
	t.Cleanup(func() { l.Close(); n.set(true) })
	go func() {
		for {
			here, err := l.Accept()
			if err != nil {
				return
			}
			there, err := net.Dial("tcp", to)
			if err != nil || !n.keep(here, there) {
				here.Close()
				continue
			}
			go func() { _, _ = io.Copy(there, here); there.Close() }()
			go func() { _, _ = io.Copy(here, there); here.Close() }()
		}
	}()
	return n
}

func (n *network) keep(conns ...net.Conn) bool {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.conns = append(n.conns, conns...)
	return !n.cut
}

// set cuts the network, or mends it.
func (n *network) set(cut bool) {
	n.mu.Lock()
	defer n.mu.Unlock()
	n.cut = cut
	for _, c := range n.conns {
		c.Close()
	}
	n.conns = nil
}

// spindle makes a page feel a lathe at 720 rpm, 60 times a second, rounded to 0.1 m/s² as
// browsers do; what it gave is counted. Its throb is 0.9 m/s², 12 Hz; beside it noise and
// twice the line.
const spindle = `window.given = 0; window.next = performance.now(); window.lathe = setInterval(() => {
	if (performance.now() < next) return;
	next = Math.max(next + 1000 / 60, performance.now() - 100);
	const p = 2 * Math.PI * 12 * performance.now() / 1000;
	const noise = () => 0.3 * (Math.random() - 0.5), round = (v) => Math.round(10 * v) / 10;
	dispatchEvent(new DeviceMotionEvent("devicemotion", {interval: 16, accelerationIncludingGravity: {
		x: round(0.9 * Math.sin(p) + noise()), y: round(0.4 * Math.cos(p) + 0.1 * Math.sin(2 * p) + noise()), z: round(9.81 + noise())}}));
	given++;
}, 4); 0`

// The page in a real browser, over HTTPS, from the tap on: its samples give the speed of the
// spindle, and a network that is gone for a second costs none of them.
func TestBrowser(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	src := phone.Open()
	defer src.Close()
	var handler atomic.Value // of the vibe that runs
	handler.Store(src.Handler())
	server := httptest.NewUnstartedServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		handler.Load().(http.Handler).ServeHTTP(w, r)
	}))
	server.Config.ErrorLog = log.New(io.Discard, "", 0) // of connections that the network cuts
	server.StartTLS()
	defer server.Close()
	way := newNetwork(t, server.Listener.Addr().String())
	_, port, err := net.SplitHostPort(way.Addr().String())
	require.NoError(t, err)
	errors := consoleErrors(t, ctx)

	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(390, 844), chromedp.Navigate("https://lathe.test:"+port+"/"), chromedp.Click(chromedp.CSS("#start"))))
	reads(t, ctx, "state", "without values") // a machine without a sensor gives one event of nulls
	eval[int](t, ctx, spindle)

	tracker := &dsp.Tracker{Hint: 12.5} // the dial, about right
	var turns []dsp.Revolution
	received, lost := 0, 0
	first, last := 0.0, 0.0
	until := func(enough func() bool) {
		defer time.AfterFunc(20*time.Second, func() { src.Close() }).Stop() // Next waits for what may never come
		for !enough() {
			src.Show(phone.Shown{Action: "lower", Target: "650", Say: "Lower to 650 rpm: it shakes 4.9 mm/s, rough.", Reasons: []string{"it is above the comfort limit"}, Speed: "720", Shake: "4.9", Feel: "rough", Caution: "Wear a face shield."})
			b, err := src.Next()
			require.NoError(t, err, "%d samples, %d lost", received, lost)
			if lost += b.Lost; len(b.T) == 0 {
				continue
			}
			if received == 0 {
				first = b.T[0]
			}
			received, last = received+len(b.T), b.T[len(b.T)-1]
			turns = append(turns, tracker.Add(b.T, b.Axes)...)
		}
	}
	span := func(s float64) func() bool { return func() bool { return last-first > s } }
	until(span(2))
	reads(t, ctx, "speed", "samples a second: up to 1")
	reads(t, ctx, "step", "steps of 0.1 m/s²: at 600 rpm they hide shakes below about 3 mm/s")
	reads(t, ctx, "action", "LOWER 650")
	reads(t, ctx, "say", "it shakes 4.9 mm/s")
	look(t, ctx, "running")

	way.set(true)
	time.Sleep(time.Second) // as long as the network is gone
	way.set(false)
	until(span(5.5))
	given := eval[int](t, ctx, "clearInterval(lathe), given")
	until(func() bool { return received >= given })
	assert.Equal(t, given, received)
	assert.Zero(t, lost)

	// At 60 samples a second the fourth multiple of 720 rpm lies on the line itself: with even
	// times dsp rightly doubts how hard it shakes, not how fast it turns.
	require.Greater(t, len(turns), 12)
	for _, r := range turns[8:] {
		assert.InEpsilon(t, 12, r.Freq, 0.004, "%v", r.Faults)
	}
	t.Logf("%d samples in %.1f s, %d readings, the last %.4f Hz", received, last-first, len(turns), turns[len(turns)-1].Freq)

	start := time.Now()
	reads(t, ctx, "action", "NO NEWS")
	reads(t, ctx, "numbers", "– rpm")
	assert.Less(t, time.Since(start), 5*time.Second)
	reads(t, ctx, "state", "No motion data come")
	look(t, ctx, "old")
	require.NoError(t, src.Close())
	reads(t, ctx, "state", "vibe has ended on the computer")

	again := phone.Open() // vibe is started anew, and nobody touches the phone
	defer again.Close()
	defer context.AfterFunc(ctx, func() { again.Close() })()
	handler.Store(again.Handler())
	eval[int](t, ctx, spindle)
	for n := 0; n < 60; {
		b, err := again.Next()
		require.NoError(t, err)
		n += len(b.T)
	}
	reads(t, ctx, "state", "Running")
	showing, done := context.WithCancel(ctx)
	var shown sync.WaitGroup
	shown.Go(func() {
		for ; showing.Err() == nil; time.Sleep(200 * time.Millisecond) {
			again.Show(phone.Shown{Action: "stop", Say: "Stop: it is violent.", Reasons: []string{"it grows"}, Speed: "720", Shake: "12.0", Feel: "violent", Caution: "Wear a face shield."})
		}
	})
	defer shown.Wait()
	defer done()
	reads(t, ctx, "action", "STOP")
	accessible(t, ctx, "light")
	look(t, ctx, "stop-light")
	accessible(t, ctx, "dark")
	look(t, ctx, "stop-dark")
	assert.Empty(t, errors())
}

// The sensor of the browser itself, as its developer tools have one: real events, 60 a second
// and rounded by the browser, of a spindle at 738 rpm with the dial's word.
func TestBrowserSensor(t *testing.T) {
	t.Parallel()
	ctx := browser(t)
	src := phone.Open()
	defer src.Close()
	defer context.AfterFunc(ctx, func() { src.Close() })() // Next waits for what may never come
	server := httptest.NewTLSServer(src.Handler())
	defer server.Close()
	kind := emulation.SensorTypeAccelerometer
	_, err := chromedp.Call(ctx, emulation.SetSensorOverrideEnabled, emulation.SetSensorOverrideEnabledParams{
		Enabled: true, Type: kind, Metadata: &emulation.SensorMetadata{Available: true, MinimumFrequency: 1, MaximumFrequency: 200}})
	require.NoError(t, err)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate(server.URL+"/"), chromedp.Click(chromedp.CSS("#start"))))

	turning, stop := context.WithCancel(ctx)
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		for start := time.Now(); turning.Err() == nil; {
			p := 2 * math.Pi * 12.3 * time.Since(start).Seconds()
			_, err := chromedp.Call(ctx, emulation.SetSensorOverrideReadings, emulation.SetSensorOverrideReadingsParams{Type: kind,
				Reading: &emulation.SensorReading{Xyz: &emulation.SensorReadingXYZ{X: 0.9 * math.Sin(p), Y: 0.4 * math.Cos(p), Z: 9.81}}})
			assert.NoError(t, err)
		}
	}()
	tracker := &dsp.Tracker{Hint: 12}
	ok, lost := 0, 0
	// Each value goes through the developer tools: on a busy machine some come late, and then
	// readings are rightly refused.
	for limit := time.Now().Add(45 * time.Second); ok < 5; {
		require.True(t, time.Now().Before(limit), "%d readings", ok)
		b, err := src.Next()
		require.NoError(t, err)
		if lost += b.Lost; len(b.T) == 0 {
			continue
		}
		for _, r := range tracker.Add(b.T, b.Axes) {
			if r.OK {
				ok++
				assert.InEpsilon(t, 12.3, r.Freq, 0.004, "%+v", r)
			}
		}
	}
	assert.Zero(t, lost)
	stop()
	<-stopped
}

// consoleErrors returns what the page's own script has complained of since.
func consoleErrors(t *testing.T, ctx context.Context) func() []string {
	ctx, cancel := context.WithCancel(ctx)
	var mu sync.Mutex
	var all []string
	ready, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		close(ready)
		for m, err := range chromedp.Console(ctx) {
			if err != nil {
				return
			}
			if strings.Contains(m.Text, "Error in connection establishment") || strings.Contains(m.Text, "ERR_CONNECTION") {
				continue // the browser's own word, while the network is gone
			}
			mu.Lock()
			all = append(all, fmt.Sprint(m))
			mu.Unlock()
		}
	}()
	<-ready
	return func() []string {
		cancel()
		<-done
		mu.Lock()
		defer mu.Unlock()
		return all
	}
}

// accessible asks axe-core, where VIBE_AXE says where its script lies, for what is serious or critical. Without
// it nothing is asked; where VIBE_CI is set that is a failure.
func accessible(t *testing.T, ctx context.Context, scheme string) {
	t.Helper()
	_, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
	require.NoError(t, err)
	script := os.Getenv("VIBE_AXE")
	if script == "" && os.Getenv("VIBE_CI") == "" {
		t.Log("no axe-core: not asked whether everybody can use the page")
		return
	}
	axe, err := os.ReadFile(script)
	require.NoError(t, err)
	eval[string](t, ctx, string(axe)+"; window.found = ''; axe.run().then(r => { window.found = JSON.stringify(r.violations.filter(v => v.impact === 'serious' || v.impact === 'critical').map(v => [v.id, v.nodes.map(n => n.html + n.failureSummary)])) }); ''")
	found := ""
	require.Eventually(t, func() bool { found = eval[string](t, ctx, "window.found"); return found != "" }, 20*time.Second, 50*time.Millisecond)
	assert.Equal(t, "[]", found, scheme)
}

// look keeps a picture of the page where VIBE_PICTURES names a folder.
func look(t *testing.T, ctx context.Context, name string) {
	dir := os.Getenv("VIBE_PICTURES")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(dir+"/"+name+".png", png, 0o644))
}
