package phone_test

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"io"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/coder/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/sensor"
	"vibe/sensor/phone"
	"vibe/sensor/sensortest"
)

// wire is a network of memory, so that a test's clock is the bubble's and that a goroutine
// left behind fails the test.
type wire struct {
	calls chan net.Conn
	done  chan struct{}
}

func (w *wire) Accept() (net.Conn, error) {
	select {
	case c := <-w.calls:
		return c, nil
	case <-w.done:
		return nil, net.ErrClosed
	}
}
func (w *wire) Close() error   { close(w.done); return nil }
func (w *wire) Addr() net.Addr { return &net.TCPAddr{} }

func (w *wire) dial(context.Context, string, string) (net.Conn, error) {
	here, there := net.Pipe()
	w.calls <- there
	return here, nil
}

// shop is a source with its handler on a server.
type shop struct {
	src    *phone.Source
	wire   *wire
	client *http.Client
}

// inShop runs f in a bubble of its own; everything has to end with it.
func inShop(t *testing.T, f func(t *testing.T, s shop)) {
	synctest.Test(t, func(t *testing.T) {
		w := &wire{make(chan net.Conn), make(chan struct{})}
		s := shop{phone.Open(), w, &http.Client{Transport: &http.Transport{DialContext: w.dial}}}
		server := &http.Server{Handler: s.src.Handler()}
		go server.Serve(w)
		time.Sleep(time.Second) // of the bubble: what was taken before a source opened is left out
		f(t, s)
		require.NoError(t, s.src.Close())
		_, err := s.src.Next()
		assert.Equal(t, sensor.ErrClosed, err)
		s.client.CloseIdleConnections()
		require.NoError(t, server.Close())
	})
}

// call opens a socket as a page of that name does.
func (s shop) call(t *testing.T, name, load string) *websocket.Conn {
	conn, _, err := s.dial(t, "socket?phone="+name+"&load="+load, "http://shop")
	require.NoError(t, err)
	conn.SetReadLimit(1 << 20)
	return conn
}

func (s shop) dial(t *testing.T, path, origin string) (*websocket.Conn, *http.Response, error) {
	header := http.Header{}
	if origin != "" {
		header.Set("Origin", origin)
	}
	return websocket.Dial(t.Context(), "ws://shop/"+path, &websocket.DialOptions{HTTPClient: s.client, HTTPHeader: header})
}

// samples is a frame of n samples at 60 Hz from number first on, sent now.
func samples(first, n int) []byte { return samplesAt(60, first, n) }

func samplesAt(hz float64, first, n int) []byte {
	p := binary.LittleEndian.AppendUint32(nil, 0)
	p = binary.LittleEndian.AppendUint32(p, uint32(first))
	ms := func(i int) float64 { return 1000 + 1000*float64(i)/hz }
	numbers := []float64{ms(first + n - 1)}
	for i := first; i < first+n; i++ {
		numbers = append(numbers, ms(i), float64(i), 0, 9.8)
	}
	for _, v := range numbers {
		p = binary.LittleEndian.AppendUint64(p, math.Float64bits(v))
	}
	return p
}

func send(t *testing.T, conn *websocket.Conn, p []byte) {
	require.NoError(t, conn.Write(t.Context(), websocket.MessageBinary, p))
}

// word is what the page is told.
type word struct {
	Have  *int         `json:"have"`
	Shown *phone.Shown `json:"shown"`
	Over  string       `json:"over"`
}

func hear(t *testing.T, conn *websocket.Conn) (w word, err error) {
	_, p, err := conn.Read(t.Context())
	if err == nil {
		require.NoError(t, json.Unmarshal(p, &w), "%s", p)
	}
	return w, err
}

// hearUntil reads on until a word is as wanted.
func hearUntil(t *testing.T, conn *websocket.Conn, wanted func(word) bool) word {
	for {
		w, err := hear(t, conn)
		require.NoError(t, err)
		if wanted(w) {
			return w
		}
	}
}

func has(n int) func(word) bool { return func(w word) bool { return w.Have != nil && *w.Have == n } }

// closed reads to the end and returns its code.
func closed(t *testing.T, conn *websocket.Conn) websocket.StatusCode {
	for {
		if _, err := hear(t, conn); err != nil {
			return websocket.CloseStatus(err)
		}
	}
}

// next reads blocks until there are n samples.
func (s shop) next(t *testing.T, n int) (times, values []float64, lost int) {
	for len(times) < n {
		b, err := s.src.Next()
		require.NoError(t, err)
		if lost += b.Lost; len(b.T) > 0 {
			times, values = append(times, b.T...), append(values, b.Axes[0]...)
		}
	}
	return times, values, lost
}

// A phone whose network is gone for a second loses no sample: what was not acknowledged comes
// again on the new connection, and counts once.
func TestReconnect(t *testing.T) {
	t.Parallel()
	inShop(t, func(t *testing.T, s shop) {
		one := s.call(t, "p", "1")
		w, err := hear(t, one)
		require.NoError(t, err)
		assert.Nil(t, w.Have)
		send(t, one, samples(0, 60))
		hearUntil(t, one, has(60))
		send(t, one, samples(60, 60)) // arrives, but the page does not get to know
		one.CloseNow()
		time.Sleep(time.Second)
		two := s.call(t, "p", "1")
		w, err = hear(t, two)
		require.NoError(t, err)
		assert.Equal(t, 120, *w.Have)
		send(t, two, samples(60, 120))
		hearUntil(t, two, has(180))
		times, values, lost := s.next(t, 180)
		assert.Zero(t, lost)
		for i := range times {
			assert.Equal(t, float64(i), values[i])
			assert.InDelta(t, times[0]+float64(i)/60, times[i], 1e-6)
		}
		two.CloseNow()
	})
}

// The page of a phone that is half gone gives way to its new one; another phone does not come
// in between, and may when the first has gone.
func TestOnePhone(t *testing.T) {
	t.Parallel()
	inShop(t, func(t *testing.T, s shop) {
		old := s.call(t, "p", "1")
		hearUntil(t, old, func(word) bool { return true })
		other := s.call(t, "q", "2")
		assert.EqualValues(t, 4001, closed(t, other))

		again := s.call(t, "p", "1")
		hearUntil(t, old, func(w word) bool { return w.Over == "replaced" })
		send(t, again, samples(0, 60))
		hearUntil(t, again, has(60))
		again.CloseNow()
		old.CloseNow()
		synctest.Wait()

		other = s.call(t, "q", "2")
		send(t, other, samples(0, 60))
		hearUntil(t, other, has(60))
		s.next(t, 120)
		other.CloseNow()
	})
}

// What is shown is what was said last, until it is old.
func TestShow(t *testing.T) {
	t.Parallel()
	inShop(t, func(t *testing.T, s shop) {
		conn := s.call(t, "p", "1")
		s.src.Show(phone.Shown{Action: "hold", Say: "Hold 740 rpm.", Speed: "740"})
		start := time.Now()
		w := hearUntil(t, conn, func(w word) bool { return w.Shown != nil })
		assert.Equal(t, "Hold 740 rpm.", w.Shown.Say)
		require.NoError(t, conn.Write(t.Context(), websocket.MessageText, []byte("here")))
		hearUntil(t, conn, func(w word) bool { return w.Shown == nil })
		assert.InDelta(t, 2, time.Since(start).Seconds(), 0.51)
		conn.CloseNow()
	})
}

// The page hears that vibe has ended.
func TestEnded(t *testing.T) {
	t.Parallel()
	inShop(t, func(t *testing.T, s shop) {
		conn := s.call(t, "p", "1")
		send(t, conn, samples(0, 60))
		ended := make(chan word, 1)
		go func() { ended <- hearUntil(t, conn, func(w word) bool { return w.Over != "" }) }()
		synctest.Wait()
		require.NoError(t, s.src.Close())
		assert.Equal(t, "ended", (<-ended).Over)
		assert.EqualValues(t, 4001, closed(t, s.call(t, "p", "1")), "and nobody is let in any more")
		conn.CloseNow()
	})
}

// A phone that goes silent, half open, is dropped; the source says so and goes on.
func TestSilent(t *testing.T) {
	t.Parallel()
	inShop(t, func(t *testing.T, s shop) {
		note := func() string {
			for {
				b, err := s.src.Next()
				require.NoError(t, err)
				if len(b.T) == 0 {
					return strings.Join(b.Notes, "|")
				}
			}
		}
		assert.Contains(t, note(), "no phone yet")
		conn := s.call(t, "p", "1")
		send(t, conn, samples(0, 60))
		start := time.Now()
		assert.Contains(t, note(), "the lathe may be turning")
		assert.InDelta(t, 1.5, time.Since(start).Seconds(), 0.01)
		closed(t, conn)
		assert.InDelta(t, 5, time.Since(start).Seconds(), 1)

		conn = s.call(t, "p", "1")
		require.NoError(t, conn.Write(t.Context(), websocket.MessageText, []byte("hidden")))
		assert.Contains(t, note(), "in the background")
		conn.CloseNow()
	})
}

// A page that takes nothing any more is dropped, not waited for.
func TestSlowReader(t *testing.T) {
	t.Parallel()
	inShop(t, func(t *testing.T, s shop) {
		conn := s.call(t, "p", "1")
		for range 100 { // nobody reads; each would answer
			s.src.Show(phone.Shown{Say: "Stop."})
		}
		time.Sleep(8 * time.Second)
		other := s.call(t, "q", "2")
		hearUntil(t, other, func(word) bool { return true })
		other.CloseNow()
		conn.CloseNow()
	})
}

// Who is none of ours is refused or dropped, and the session goes on.
func TestHostile(t *testing.T) {
	t.Parallel()
	inShop(t, func(t *testing.T, s shop) {
		for _, c := range []struct {
			path, origin string
			status       int
		}{
			{"socket?phone=p&load=1", "", http.StatusForbidden},
			{"socket?phone=p&load=1", "http://elsewhere", http.StatusForbidden},
			{"socket?phone=p&load=1", "null", http.StatusForbidden},
			{"socket", "http://shop", http.StatusBadRequest},
			{"socket?phone=p", "http://shop", http.StatusBadRequest},
			{"socket?load=1&phone=" + strings.Repeat("p", 200), "http://shop", http.StatusBadRequest},
		} {
			_, response, err := s.dial(t, c.path, c.origin)
			require.Error(t, err)
			require.NotNil(t, response, err)
			assert.Equal(t, c.status, response.StatusCode, c)
		}
		for name, c := range map[string]struct {
			kind websocket.MessageType
			text []byte
			code websocket.StatusCode
		}{
			"unknown word":   {websocket.MessageText, []byte("open sesame"), 4002},
			"no frame":       {websocket.MessageBinary, []byte{1, 2, 3}, 4002},
			"empty":          {websocket.MessageBinary, nil, 4002},
			"huge":           {websocket.MessageBinary, make([]byte, 1<<20), websocket.StatusMessageTooBig},
			"a leap":         {websocket.MessageBinary, samples(1<<30, 2), 4002},
			"a frame a word": {websocket.MessageText, samples(0, 2), 4002},
		} {
			conn := s.call(t, "p", "1")
			send(t, conn, samples(0, 1))
			hearUntil(t, conn, func(w word) bool { return w.Have != nil })
			go conn.Write(t.Context(), c.kind, c.text) // whether it gets through is not the point
			assert.Equal(t, c.code, closed(t, conn), name)
			conn.CloseNow()
			synctest.Wait()
		}
		flood := s.call(t, "p", "1")
		go func() {
			for flood.Write(t.Context(), websocket.MessageBinary, samples(0, 1)) == nil {
			}
		}()
		assert.EqualValues(t, 4002, closed(t, flood))
		flood.CloseNow()
		synctest.Wait()

		conn := s.call(t, "p", "1")
		send(t, conn, samples(0, 60))
		hearUntil(t, conn, has(60))
		s.next(t, 60)
		conn.CloseNow()
	})
}

// Every file of the page comes, with a policy that lets nothing else in, and nothing inline.
func TestPage(t *testing.T) {
	t.Parallel()
	inShop(t, func(t *testing.T, s shop) {
		for path, c := range map[string]struct{ kind, has string }{
			"":           {"text/html", `<script type="module" src="phone.js">`},
			"phone.css":  {"text/css", "prefers-color-scheme: dark"},
			"phone.js":   {"text/javascript", "requestPermission"},
			"outbox.js":  {"text/javascript", "class Outbox"},
			"sight.js":   {"text/javascript", "without the dial's speed"},
			"icon.svg":   {"image/svg+xml", "<svg"},
			"phone.html": {"", ""},
		} {
			response, err := s.client.Get("http://shop/" + path)
			require.NoError(t, err)
			body, err := io.ReadAll(response.Body)
			require.NoError(t, err)
			response.Body.Close()
			if c.kind == "" {
				assert.Equal(t, http.StatusNotFound, response.StatusCode, path)
				continue
			}
			assert.Contains(t, response.Header.Get("Content-Type"), c.kind)
			assert.Contains(t, string(body), c.has)
			policy := response.Header.Get("Content-Security-Policy")
			assert.Contains(t, policy, "default-src 'none'")
			assert.NotContains(t, policy, "unsafe")
			assert.NotRegexp(t, `<script>|<style|\sstyle=|\son\w+=|https?://[^w]`, string(body))
		}
		response, err := s.client.Post("http://shop/socket", "", nil)
		require.NoError(t, err)
		response.Body.Close()
		assert.Equal(t, http.StatusMethodNotAllowed, response.StatusCode)
	})
}

// A phone keeps the contract of every source.
func TestSource(t *testing.T) {
	t.Parallel()
	var now atomic.Pointer[phone.Source]
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		now.Load().Handler().ServeHTTP(w, r)
	}))
	defer server.Close()
	open := func(more bool) func() sensor.Source {
		return func() sensor.Source {
			s := phone.Open()
			now.Store(s)
			conn, _, err := websocket.Dial(context.Background(), "ws"+strings.TrimPrefix(server.URL, "http")+"/socket?phone=p&load=1",
				&websocket.DialOptions{HTTPHeader: http.Header{"Origin": {server.URL}}})
			require.NoError(t, err)
			ended := make(chan struct{})
			go func() {
				defer close(ended)
				for err := error(nil); err == nil; {
					_, _, err = conn.Read(context.Background())
				}
			}()
			go func() {
				defer conn.CloseNow()
				pace := time.NewTicker(5 * time.Millisecond)
				defer pace.Stop()
				for n := 0; ; n += 6 {
					if n == 0 || more { // an error ends the reading, too
						_ = conn.Write(context.Background(), websocket.MessageBinary, samplesAt(1000, n, 6))
					}
					select {
					case <-pace.C:
					case <-ended:
						return
					}
				}
			}()
			return s
		}
	}
	sensortest.TestSource(t, open(true))
	sensortest.TestWaiting(t, open(false))
}
