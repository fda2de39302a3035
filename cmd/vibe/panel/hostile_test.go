package panel_test

import (
	"bufio"
	"bytes"
	"context"
	"crypto/rand"
	"crypto/tls"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/cmd/vibe/panel"
)

// busy is a session that changes ten times a second, with a document as long as one of two minutes.
type busy struct {
	mu      sync.Mutex
	changed chan struct{}
	said    []panel.Said
}

func (b *busy) Changed() <-chan struct{} {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.changed
}

func (b *busy) Show() ([]byte, error) {
	return []byte(`{"at":` + fmt.Sprint(time.Now().UnixNano()) + `,"past":"` + strings.Repeat("x", 12_000) + `"}`), nil
}

func (b *busy) Say(s panel.Said) (string, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.said = append(b.said, s)
	return "heard", nil
}

func (b *busy) run(ctx context.Context) {
	for ctx.Err() == nil {
		time.Sleep(100 * time.Millisecond)
		b.mu.Lock()
		close(b.changed)
		b.changed = make(chan struct{})
		b.mu.Unlock()
	}
}

// TestHostile is a morning among strangers, at both kinds of server: silence, half a header, garbage, wrong codes and
// passes, huge bodies, viewers that never read, five hundred connections from a hundred addresses. Who was looking
// goes on looking, what none of ours said is not heard, and in the end nothing is left behind. It is not parallel, so
// that the goroutines it counts are its own.
func TestHostile(t *testing.T) {
	before := runtime.NumGoroutine()
	t.Run("all", func(t *testing.T) {
		for name, opened := range map[string]func() (*panel.Server, error){
			"in the shop":      func() (*panel.Server, error) { return panel.Open(t.TempDir(), loopback, func(error) {}) },
			"on this computer": panel.OpenHere,
		} {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				hostile(t, opened)
			})
		}
	})
	assert.EventuallyWithT(t, func(c *assert.CollectT) {
		assert.LessOrEqual(c, runtime.NumGoroutine(), before+1, "one is that of the asking")
	}, 10*time.Second, 20*time.Millisecond)
}

func hostile(t *testing.T, opened func() (*panel.Server, error)) {
	session := &busy{changed: make(chan struct{})}
	ctx, stop := context.WithCancel(t.Context())
	var all sync.WaitGroup
	defer all.Wait()
	defer stop()
	all.Go(func() { session.run(ctx) })
	s, err := opened()
	require.NoError(t, err)
	defer func() { assert.NoError(t, s.Close()) }()
	s.Handle("/", panel.View(session))
	link := s.Links("/")[0]
	u, err := url.Parse(link)
	require.NoError(t, err)
	home := u.Scheme + "://" + u.Host
	me := newDevice(t)
	me.get(link)

	// The one that looks: it counts its words.
	var words atomic.Int32
	var gap time.Duration
	all.Go(func() {
		r, err := http.NewRequestWithContext(ctx, "GET", home+"/events", nil)
		if assert.NoError(t, err); me.pass != nil {
			r.AddCookie(me.pass)
		}
		answer, err := me.client.Do(r)
		if !assert.NoError(t, err) {
			return
		}
		defer answer.Body.Close()
		last := time.Now()
		for lines := bufio.NewScanner(answer.Body); lines.Scan(); last = time.Now() {
			if bytes.HasPrefix(lines.Bytes(), []byte("data:")) {
				words.Add(1)
				gap = max(gap, time.Since(last))
			}
		}
	})

	var strangers []net.Conn
	defer func() {
		for _, c := range strangers {
			c.Close()
		}
	}()
	call := func(address int) net.Conn {
		d := net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 1, byte(address))}, Timeout: time.Second}
		c, err := d.DialContext(ctx, "tcp", u.Host)
		require.NoError(t, err)
		strangers = append(strangers, c)
		return c
	}
	secure := func(c net.Conn) net.Conn {
		if u.Scheme == "https" {
			return tls.Client(c, &tls.Config{InsecureSkipVerify: true})
		}
		return c
	}
	// Viewers that read nothing, with a pass; half a header; garbage instead of TLS, or of HTTP.
	deaf := call(200)
	deaf = secure(deaf)
	ask := "GET /events HTTP/1.1\r\nHost: " + u.Host + "\r\n"
	if me.pass != nil {
		ask += "Cookie: " + me.pass.String() + "\r\n"
	}
	_, err = deaf.Write([]byte(ask + "\r\n"))
	require.NoError(t, err)
	_, err = secure(call(201)).Write([]byte(ask))
	require.NoError(t, err)
	garbage := make([]byte, 1<<16)
	_, _ = rand.Read(garbage)
	_, _ = call(202).Write(garbage)
	_, _ = secure(call(203)).Write(garbage)
	_, _ = secure(call(204)).Write([]byte("GET /" + strings.Repeat("a", 1<<18) + " HTTP/1.1\r\n\r\n"))
	// Wrong codes and passes, and what no page of ours says.
	for range 20 {
		if u.Scheme == "http" {
			break
		}
		forged := newDevice(t)
		forged.client = me.client
		forged.pass = &http.Cookie{Name: me.pass.Name, Value: rand.Text()}
		r, _ := forged.get(home + "/?code=" + rand.Text())
		assert.Equal(t, http.StatusForbidden, r.StatusCode)
	}
	for _, body := range []string{"", "{", "[]", `{"mark":1}`, `{"open":"sesame"}`, `{"mark":"mark"} {}`, strings.Repeat("[", 1<<20), `{"mark":"` + strings.Repeat("x", 1<<20) + `"}`, string(garbage)} {
		r, text := me.ask("POST", home+"/say", home, "", strings.NewReader(body))
		assert.Equal(t, http.StatusBadRequest, r.StatusCode, "%.20s: %s", body, text)
	}
	for _, origin := range []string{"https://evil.test", "null", ""} {
		r, _ := me.ask("POST", home+"/say", origin, "", strings.NewReader(`{"mark":"mark"}`))
		assert.Equal(t, http.StatusForbidden, r.StatusCode)
	}
	r, _ := me.ask("POST", home+"/say", home, "", strings.NewReader(`{"mark":"mark"}`))
	assert.Equal(t, http.StatusOK, r.StatusCode)
	assert.Equal(t, []panel.Said{{Mark: "mark"}}, session.said)

	for address := range 100 {
		for range 5 {
			call(address)
		}
	}
	assert.Eventually(t, func() bool { // at the latest when the silent ones have had their time
		late := newDevice(t)
		late.pass = me.pass
		r, err := late.client.Get(home + "/nothing")
		if err == nil {
			r.Body.Close()
			late.client.CloseIdleConnections()
		}
		return err == nil
	}, 10*time.Second, 100*time.Millisecond)
	// Fifty words to the one that looks are five seconds: longer than one that reads nothing is given.
	assert.Eventually(t, func() bool { return words.Load() > 60 }, 20*time.Second, 50*time.Millisecond)
	end := time.Now().Add(2 * time.Second)
	require.NoError(t, deaf.SetReadDeadline(end))
	for err = nil; err == nil; {
		_, err = deaf.Read(garbage)
	}
	assert.True(t, time.Now().Before(end), "who reads nothing is dropped: %v", err)
	stop()
	me.client.CloseIdleConnections()
	all.Wait()
	assert.Less(t, gap, 1500*time.Millisecond, "and never took it as lost")
}
