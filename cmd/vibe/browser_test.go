package main

import (
	"context"
	"fmt"
	"net/netip"
	"net/url"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/cmd/vibe/panel"
)

// tab is a page in a headless Chromium, which takes any certificate.
type tab struct {
	*testing.T
	ctx context.Context

	mu         sync.Mutex
	complained []string // what the console has, but for the browser's word that the server is gone
}

// browse starts Chromium. A machine without one skips; where VIBE_CI is set that is a failure.
func browse(t *testing.T) *tab {
	t.Helper()
	if testing.Short() {
		t.Skip("a browser in real time")
	}
	path, err := exec.LookPath("chromium")
	if err != nil && os.Getenv("VIBE_CI") == "" {
		t.Skip("no chromium on this machine (Debian: apt install chromium)")
	}
	require.NoError(t, err)
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.IgnoreCertErrors)...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	require.NoError(t, chromedp.Do(ctx)) // starts it
	ctx, cancel = context.WithTimeout(ctx, time.Minute)
	t.Cleanup(cancel)
	b := &tab{T: t, ctx: ctx}
	ready := make(chan struct{})
	go func() {
		close(ready)
		for m, err := range chromedp.Console(ctx) {
			if err != nil {
				return
			}
			if gone := strings.Contains(m.Text, "net::ERR_"); !gone {
				b.mu.Lock()
				b.complained = append(b.complained, fmt.Sprint(m))
				b.mu.Unlock()
			}
		}
	}()
	<-ready
	return b
}

// complaints are what the page's own scripts and the browser had to say against it so far.
func (b *tab) complaints() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.complained)
}

func (b *tab) eval(script string) string {
	b.Helper()
	v, err := chromedp.Run(b.ctx, chromedp.Evaluate[string](script))
	require.NoError(b, err, script)
	return v
}

func (b *tab) text(id string) string {
	b.Helper()
	return b.eval(fmt.Sprintf("document.getElementById(%q).textContent", id))
}

// reads waits until the element of that id contains text.
func (b *tab) reads(id, text string) {
	b.Helper()
	got := ""
	require.Eventually(b, func() bool { got = b.text(id); return strings.Contains(got, text) }, 15*time.Second, 20*time.Millisecond, "#%s never reads %q", id, text)
}

// accessible asks axe-core (Deque Systems, MPL 2.0) for what is serious or critical.
func (b *tab) accessible(scheme string) {
	b.Helper()
	b.scheme(scheme)
	axe, err := os.ReadFile("testdata/axe/axe.min.js")
	require.NoError(b, err)
	require.NoError(b, chromedp.Do(b.ctx, chromedp.EmulateViewport(820, 1180)))
	b.eval(string(axe) + "; window.found = ''; axe.run().then(r => { window.found = JSON.stringify(r.violations.filter(v => v.impact === 'serious' || v.impact === 'critical').map(v => [v.id, v.nodes.map(n => n.html + n.failureSummary)])) }); ''")
	found := ""
	require.Eventually(b, func() bool { found = b.eval("window.found"); return found != "" }, 20*time.Second, 50*time.Millisecond)
	assert.Equal(b, "[]", found, scheme)
}

func (b *tab) scheme(s string) {
	b.Helper()
	_, err := chromedp.Call(b.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: s}}})
	require.NoError(b, err)
}

// look keeps a picture of the whole page at three sizes where VIBE_PICTURES names a folder.
func (b *tab) look(name string) {
	b.Helper()
	dir := os.Getenv("VIBE_PICTURES")
	if dir == "" {
		return
	}
	for size, wide := range map[string][2]int64{"phone": {360, 640}, "tablet": {820, 1180}, "desktop": {1400, 900}} {
		require.NoError(b, chromedp.Do(b.ctx, chromedp.EmulateViewport(wide[0], wide[1])))
		time.Sleep(time.Second) // until it is drawn
		png, err := chromedp.Run(b.ctx, chromedp.FullScreenshot(100))
		require.NoError(b, err)
		require.NoError(b, os.WriteFile(dir+"/"+name+"-"+size+".png", png, 0o644))
	}
}

// shownAt opens the page of s over HTTPS, its passes in dir; end closes the server.
func shownAt(t *testing.T, s *live.Session, dir, at string) (link string, end func()) {
	t.Helper()
	server, err := panel.Open(dir, []netip.AddrPort{netip.MustParseAddrPort(at)}, func(err error) { assert.NoError(t, err) })
	require.NoError(t, err)
	server.Handle("/", panel.View(viewed{s}))
	return server.Links("/")[0], func() { assert.NoError(t, server.Close()) }
}

// TestPageInABrowser: the advice as it is, as it changes, gone when it is old, and back without a new link when
// vibe is started anew.
func TestPageInABrowser(t *testing.T) {
	t.Parallel()
	b := browse(t)
	s, _ := lookedAt(t)
	dir := t.TempDir()
	link, end := shownAt(t, s, dir, "127.0.0.1:0")
	require.NoError(t, chromedp.Do(b.ctx, chromedp.Navigate(link)))
	b.reads("action", "WAIT")
	assert.NotContains(t, b.eval("location.href"), "code")
	hears(s, 3, 600, 1.2, assess.Advice{Action: assess.Raise, Speed: 690, Say: "Raise to 690 rpm."})
	b.reads("action", "RAISE")
	b.reads("target", "690")
	b.reads("speed", "600")
	b.reads("feel", "calm")
	b.accessible("light")
	b.accessible("dark")
	b.look("raise-dark")
	hears(s, 4, 690, 12, assess.Advice{Action: assess.Stop, Say: "Stop."})
	b.reads("action", "STOP")
	b.scheme("light")
	b.look("stop-light")
	b.eval(`(() => { const f = document.getElementById("diameter"); f.elements[0].value = "200 mm"; f.requestSubmit(); return "" })()`)
	b.reads("answer", "200 mm")
	assert.InDelta(t, 200, float64(s.Now().Blank.Diameter), 0.01)
	b.eval(`(() => { const f = document.getElementById("task").elements[0]; f.value = "sanding"; f.dispatchEvent(new Event("change", {bubbles: true})); return "" })()`)
	b.reads("answer", "sanding")
	assert.Equal(t, assess.Sanding, s.Now().Task)
	require.NoError(t, chromedp.Do(b.ctx, chromedp.Click(chromedp.CSS(`[data-mark="too much"]`))))
	b.reads("answer", "marked")
	require.NoError(t, chromedp.Do(b.ctx, chromedp.Click(chromedp.CSS("#sound"))))

	end()
	gone := time.Now()
	b.reads("action", "NO CONNECTION")
	assert.Less(t, time.Since(gone), 2*time.Second)
	assert.Equal(t, "–", b.text("speed"))
	b.look("lost-light")
	hears(s, 5, 640, 1.2, assess.Advice{Action: assess.Hold, Speed: 640, Say: "Hold 640 rpm."})
	u, err := url.Parse(link)
	require.NoError(t, err)
	_, end = shownAt(t, s, dir, u.Host)
	defer end()
	hears(s, 6, 640, 1.2, assess.Advice{Action: assess.Hold, Speed: 640, Say: "Hold 640 rpm."})
	b.reads("speed", "640")
	assert.NotEqual(t, "NO CONNECTION", b.text("action"))
	assert.Empty(t, b.complaints())
}
