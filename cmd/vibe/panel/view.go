package panel

import (
	"bytes"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"sync"
	"time"
)

//go:embed web
var web embed.FS

const (
	// beat is how often the page hears of the session at least: it counts as lost after three of
	// them. Chosen.
	beat = 500 * time.Millisecond
	// pause lies between two words of a session that changes fast. Chosen.
	pause = 80 * time.Millisecond
	// slow: a reader that has not taken a word by then is dropped, not waited for. Chosen.
	slow = 2 * time.Second
	// mostSaid is how long what a page says may be, bytes. Chosen.
	mostSaid = 1 << 10

	policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; " +
		"base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)

// Said is what a page says: one of the first five.
type Said struct {
	Diameter string `json:"diameter,omitempty"`
	Task     string `json:"task,omitempty"`
	Mark     string `json:"mark,omitempty"`
	Dial     string `json:"dial,omitempty"`
	Balance  string `json:"balance,omitempty"` // a step: begin, take, leave or again

	// With begin: the mass that is put on, where, and how it is held.
	Trial    string `json:"trial,omitempty"`
	Radius   string `json:"radius,omitempty"`
	Fastened string `json:"fastened,omitempty"`
}

// Shown is what the page shows, and whom it tells. All may be called from any goroutine.
type Shown interface {
	// Changed is closed at the next change.
	Changed() <-chan struct{}
	// Show is the session as it stands, in JSON.
	Show() ([]byte, error)
	// Say answers in words. Its error is for the turner.
	Say(Said) (string, error)
}

// View is the page at the lathe: large what is read from two metres, below it the rest. It
// hears of every change by server-sent events.
func View(of Shown) http.Handler {
	v := &view{of: of}
	files, err := fs.Sub(web, "web")
	if err != nil {
		panic(err) // the folder is in the binary
	}
	mux := http.NewServeMux()
	mux.Handle("GET /", http.FileServerFS(files))
	mux.HandleFunc("GET /events", v.events)
	mux.HandleFunc("POST /say", v.say)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Security-Policy", policy)
		mux.ServeHTTP(w, r)
	})
}

// view makes one document of each change for all who look.
type view struct {
	of Shown

	mu   sync.Mutex
	as   <-chan struct{} // the document is as of before this closes
	made time.Time
	doc  []byte
}

// document returns the newest one as an event, and what closes when there is a newer one.
func (v *view) document() (event []byte, changed <-chan struct{}, err error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	changed = v.of.Changed()
	if changed == v.as && time.Since(v.made) < beat/2 { // what counts the silence moves on by itself
		return v.doc, changed, nil
	}
	doc, err := v.of.Show()
	if err != nil {
		return nil, nil, err
	}
	v.as, v.made = changed, time.Now()
	v.doc = bytes.Join([][]byte{[]byte("data: "), doc, []byte("\n\n")}, nil)
	return v.doc, changed, nil
}

func (v *view) events(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Type", "text/event-stream")
	to := http.NewResponseController(w)
	_, _ = fmt.Fprintf(w, "retry: %d\n\n", beat.Milliseconds()) // whose error the next write has as well
	for {
		doc, changed, err := v.document()
		if err != nil || to.SetWriteDeadline(time.Now().Add(slow)) != nil {
			return
		}
		if _, err := w.Write(doc); err != nil || to.Flush() != nil {
			return
		}
		rest, again := time.NewTimer(pause), time.NewTimer(beat)
		select {
		case <-r.Context().Done():
		case <-rest.C:
		}
		select {
		case <-r.Context().Done():
			rest.Stop()
			again.Stop()
			return
		case <-changed:
		case <-again.C:
		}
		again.Stop()
	}
}

// say passes on what the page says.
func (v *view) say(w http.ResponseWriter, r *http.Request) {
	var s Said
	d := json.NewDecoder(http.MaxBytesReader(w, r.Body, mostSaid))
	d.DisallowUnknownFields()
	err := d.Decode(&s)
	if err == nil && d.More() {
		err = errors.New("more than one")
	}
	if err != nil {
		answerWith(w, http.StatusBadRequest, map[string]string{"error": "not understood: " + err.Error()})
		return
	}
	said, err := v.of.Say(s)
	if err != nil {
		answerWith(w, http.StatusBadRequest, map[string]string{"error": err.Error()})
		return
	}
	answerWith(w, http.StatusOK, map[string]string{"said": said})
}

func answerWith(w http.ResponseWriter, status int, what map[string]string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(what) // who went away hears nothing
}
