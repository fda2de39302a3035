package panel

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/json"
	"net/http"
	"os"
	"slices"
	"sync"
	"time"
)

const (
	// cookie names the pass of a device. The prefix makes browsers refuse it from anywhere but
	// this server, over HTTPS (RFC 6265bis, section 4.1.3.2).
	cookie = "__Host-vibe"
	// mostPasses is how many devices are known at once; the oldest goes (chosen: a class).
	mostPasses = 32
	// life of a pass (chosen: the shop's own tablet is not asked every Saturday, and one that
	// was sold is forgotten by itself).
	life = 30 * 24 * time.Hour
)

// pairing gives a pass for a code. Passes outlive the server, so that a page comes back by
// itself when vibe is started anew; what is kept of one lets nobody in.
type pairing struct {
	path   string // of the file with the passes
	paired func(error)

	mu     sync.Mutex
	secret string // the code of the next device
	passes []pass // oldest first
}

// pass is what is kept of one: the digest of the secret that the device has.
type pass struct {
	Digest []byte    `json:"sha256"`
	Until  time.Time `json:"until"`
}

func digest(secret string) []byte {
	d := sha256.Sum256([]byte(secret))
	return d[:]
}

func newPairing(path string, paired func(error)) *pairing {
	return &pairing{path: path, paired: paired, secret: rand.Text(), passes: readPasses(path)}
}

// readPasses are those of the file that are valid still. One that cannot be read lets nobody
// in; the next pairing puts another in its place.
func readPasses(path string) []pass {
	var all []pass
	text, err := os.ReadFile(path)
	if err != nil || json.Unmarshal(text, &all) != nil {
		return nil
	}
	return slices.DeleteFunc(all, func(p pass) bool { return !p.valid() })
}

// valid bounds the time from both sides: a clock that was wrong gives no pass for ever.
func (p pass) valid() bool {
	left := time.Until(p.Until)
	return left > 0 && left <= life && len(p.Digest) == sha256.Size
}

func (g *pairing) code() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.secret
}

// known reports whether the request shows a pass.
func (g *pairing) known(r *http.Request) bool {
	c, err := r.Cookie(cookie)
	if err != nil {
		return false
	}
	shown := digest(c.Value)
	g.mu.Lock()
	defer g.mu.Unlock()
	found := 0
	for _, p := range g.passes {
		if p.valid() {
			found |= subtle.ConstantTimeCompare(p.Digest, shown)
		}
	}
	return found == 1
}

// enter gives a pass for the code, and makes the next code.
func (g *pairing) enter(w http.ResponseWriter, r *http.Request, code string) {
	secret, right, kept := rand.Text(), false, error(nil)
	g.mu.Lock()
	if right = subtle.ConstantTimeCompare([]byte(g.secret), []byte(code)) == 1; right {
		g.secret = rand.Text()
		kept = g.add(pass{digest(secret), time.Now().Add(life)})
	}
	g.mu.Unlock()
	if !right {
		http.Error(w, "This link was used already, or belongs to an earlier vibe: take the one that the computer shows now.", http.StatusForbidden)
		return
	}
	// Lax: a camera that opens the link may count as another site until the redirect is done.
	// What changes anything asks for the origin as well.
	http.SetCookie(w, &http.Cookie{Name: cookie, Value: secret, Path: "/", MaxAge: int(life.Seconds()), Secure: true, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
	g.paired(kept)
}

// add keeps one more, beside those that another vibe may have given meanwhile. The lock is held.
func (g *pairing) add(one pass) error {
	for _, p := range readPasses(g.path) {
		if !slices.ContainsFunc(g.passes, func(q pass) bool { return string(p.Digest) == string(q.Digest) }) {
			g.passes = append(g.passes, p)
		}
	}
	g.passes = slices.DeleteFunc(append(g.passes, one), func(p pass) bool { return !p.valid() })
	slices.SortFunc(g.passes, func(a, b pass) int { return a.Until.Compare(b.Until) })
	g.passes = slices.Delete(g.passes, 0, max(0, len(g.passes)-mostPasses))
	text, err := json.Marshal(g.passes)
	if err != nil {
		return err
	}
	return keep(g.path, text)
}
