package phone

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"io/fs"
	"net/http"
	"time"

	"github.com/coder/websocket"
)

//go:embed web
var web embed.FS

const (
	beat       = 500 * time.Millisecond // between two words to the page at most
	deaf       = 5 * time.Second        // without a word from the page the connection is dropped (it sends two a second)
	slow       = 2 * time.Second        // that the page may take to take a word
	mostFrames = 60                     // a second (chosen: the page sends ten)
	backlog    = 300                    // frames at once, after the network was gone
	// taken refuses a phone while another is the sensor, broken a page that is none of ours.
	taken  = websocket.StatusCode(4001)
	broken = websocket.StatusCode(4002)
)

// policy lets the page load what comes from its own server, and nothing else.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// Handler serves the page at /, its script and style, and the socket. The server under it must
// be reached over HTTPS, or no browser gives it motion data, and must let in only whom it
// knows.
func (s *Source) Handler() http.Handler {
	files, err := fs.Sub(web, "web")
	if err != nil {
		panic("phone: " + err.Error()) // it is embedded
	}
	mux := http.NewServeMux()
	mux.Handle("GET /", http.FileServerFS(files))
	mux.HandleFunc("GET /socket", s.socket)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cache-Control", "no-store")
		mux.ServeHTTP(w, r)
	})
}

// link is one connection.
type link struct {
	phone string
	fresh chan struct{} // there may be something to say
	gone  chan struct{} // closed when nothing is read any more
}

// news wakes the goroutine that writes. A nil link has none.
func (l *link) news() {
	if l == nil {
		return
	}
	select {
	case l.fresh <- struct{}{}:
	default:
	}
}

// socket serves one connection to its end.
func (s *Source) socket(w http.ResponseWriter, r *http.Request) {
	name, load := r.URL.Query().Get("phone"), r.URL.Query().Get("load")
	switch {
	case r.Header.Get("Origin") == "": // a browser says one; the library compares it
		http.Error(w, "no origin", http.StatusForbidden)
		return
	case name == "" || load == "" || len(name)+len(load) > 100:
		http.Error(w, "which phone?", http.StatusBadRequest)
		return
	}
	conn, err := websocket.Accept(w, r, nil)
	if err != nil {
		return // it has answered
	}
	defer conn.CloseNow()
	conn.SetReadLimit(mostBytes)
	ctx, cancel := context.WithCancel(r.Context())
	defer cancel()
	me := &link{name, make(chan struct{}, 1), make(chan struct{})}
	if refused := s.attach(me, load); refused != "" {
		conn.Close(taken, refused)
		return
	}
	written := make(chan struct{})
	go func() {
		defer close(written)
		defer cancel() // which ends a read
		s.write(ctx, conn, me)
	}()
	code, why := s.read(ctx, conn, me)
	close(me.gone)
	<-written
	s.detach(me)
	if code != 0 {
		conn.Close(code, why)
	}
}

// attach makes me the connection that feeds, in the place of an older one of the same phone,
// or says why not.
func (s *Source) attach(me *link, load string) (refused string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case s.closed:
		return "vibe has ended on the computer"
	case s.live != nil && s.live.phone != me.phone:
		return "another phone is the sensor: close its page first"
	}
	old := s.live
	s.live = me
	old.news() // which ends it
	s.links.Add(1)
	s.stream.greet(me.phone, load)
	s.quiet.Reset(silence)
	return ""
}

func (s *Source) detach(me *link) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.live == me {
		s.live = nil
	}
	s.links.Done()
}

// read takes what the page sends, until it goes, is silent for too long, or sends what no page
// of ours sends; then code and why say so.
func (s *Source) read(ctx context.Context, conn *websocket.Conn, me *link) (code websocket.StatusCode, why string) {
	allowed, counted := float64(backlog), time.Now()
	for {
		waiting, stop := context.WithTimeout(ctx, deaf)
		kind, p, err := conn.Read(waiting)
		stop()
		if err != nil {
			return 0, ""
		}
		now := time.Now()
		allowed = min(backlog, allowed+mostFrames*now.Sub(counted).Seconds()) - 1
		counted = now
		if allowed < 0 {
			return broken, "too much at once"
		}
		switch err := s.heard(me, kind, p); {
		case errors.Is(err, errReplaced): // which write says
			return 0, ""
		case err != nil:
			return broken, "not understood"
		}
		me.news()
	}
}

// errReplaced is that this connection feeds no more: another does, or the source is closed.
var errReplaced = errors.New("another connection feeds now")

// heard takes one message: a frame, or a word of the page.
func (s *Source) heard(me *link, kind websocket.MessageType, p []byte) (err error) {
	var f frame
	if kind == websocket.MessageBinary {
		if f, err = decode(p); err != nil {
			return err
		}
	}
	s.tell(func(at float64) {
		switch {
		case s.live != me || s.closed:
			err = errReplaced
		case kind == websocket.MessageBinary:
			if err = s.stream.feed(f, at); err == nil {
				s.quiet.Reset(silence)
			}
		case string(p) == "hidden":
			s.stream.background()
		case string(p) != "here":
			err = errors.New("unknown word")
		}
	})
	return err
}

// write says to the page how far its samples have come and what to show, whenever that changes
// and twice a second. A page that does not take it in time is dropped.
func (s *Source) write(ctx context.Context, conn *websocket.Conn, me *link) {
	timer := time.NewTicker(beat)
	defer timer.Stop()
	for {
		text, over := s.word(me)
		sending, stop := context.WithTimeout(ctx, slow)
		err := conn.Write(sending, websocket.MessageText, text)
		stop()
		if err != nil || over {
			return
		}
		select {
		case <-me.gone:
			if _, over := s.word(me); !over { // else it is said why
				return
			}
		case <-s.done:
		case <-timer.C:
		case <-me.fresh:
		}
	}
}

// word is what the page is to know now. It is the last one if over.
func (s *Source) word(me *link) (text []byte, over bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	why := ""
	switch {
	case s.closed:
		why = "ended"
	case s.live != me:
		why = "replaced"
	}
	shown := s.shown
	if shown == nil || time.Since(s.shownAt) > fresh {
		shown = json.RawMessage("null")
	}
	text, err := json.Marshal(struct {
		Have  *uint32         `json:"have"` // number of the sample that comes next; null: any
		Shown json.RawMessage `json:"shown"`
		Over  string          `json:"over"`
	}{s.stream.have(), shown, why})
	if err != nil {
		panic("phone: " + err.Error())
	}
	return text, why != ""
}
