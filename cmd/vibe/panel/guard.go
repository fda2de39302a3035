package panel

import (
	"crypto/rand"
	"crypto/subtle"
	"net/http"
	"net/netip"
	"slices"
	"sync"
)

const (
	// cookie names the pass of a device. The prefix makes browsers refuse it from anywhere but
	// this server, over HTTPS (RFC 6265bis, section 4.1.3.2).
	cookie = "__Host-vibe"
	// mostPasses is how many devices are known at once; the oldest goes (chosen: a class).
	mostPasses = 32
	// age of a pass in s (chosen: a day in the shop). It ends with the server at the latest.
	age = 24 * 3600
)

// guard lets in who shows the code, once, and after that who shows the pass that was given for it.
type guard struct {
	hosts  []string // as which the server may be addressed
	inside http.Handler
	paired func()

	mu     sync.Mutex
	secret string   // the code of the next device
	passes []string // of the devices that were let in, oldest first
}

func (g *guard) open(at []netip.AddrPort, inside http.Handler, paired func()) {
	for _, a := range at {
		g.hosts = append(g.hosts, a.String())
	}
	g.inside, g.paired, g.secret = inside, paired, rand.Text()
}

func (g *guard) code() string {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.secret
}

// ServeHTTP implements http.Handler. A name for this machine that is not its own (DNS
// rebinding), a page from elsewhere, and a device without a pass get nothing.
func (g *guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cache-Control", "no-store")
	origin := r.Header.Get("Origin")
	code := r.URL.Query().Get("code")
	switch {
	case !slices.Contains(g.hosts, r.Host):
		http.Error(w, "not an address of this vibe", http.StatusMisdirectedRequest)
	case origin != "" && origin != "https://"+r.Host, origin == "" && r.Method != http.MethodGet && r.Method != http.MethodHead:
		http.Error(w, "not from a page of this vibe", http.StatusForbidden)
	case g.known(r):
		if code != "" && r.Method == http.MethodGet { // an old link: out of the address bar with it
			http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
			return
		}
		g.inside.ServeHTTP(w, r)
	case r.Method == http.MethodGet && code != "":
		g.enter(w, r, code)
	default:
		http.Error(w, "This page needs the link that the computer with vibe shows.", http.StatusForbidden)
	}
}

// known reports whether the request shows a pass.
func (g *guard) known(r *http.Request) bool {
	c, err := r.Cookie(cookie)
	if err != nil {
		return false
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	found := 0
	for _, p := range g.passes {
		found |= subtle.ConstantTimeCompare([]byte(p), []byte(c.Value))
	}
	return found == 1
}

// enter gives a pass for the code, and makes the next code.
func (g *guard) enter(w http.ResponseWriter, r *http.Request, code string) {
	g.mu.Lock()
	right := subtle.ConstantTimeCompare([]byte(g.secret), []byte(code)) == 1
	pass := rand.Text()
	if right {
		g.secret = rand.Text()
		g.passes = append(g.passes, pass)
		g.passes = slices.Delete(g.passes, 0, max(0, len(g.passes)-mostPasses))
	}
	g.mu.Unlock()
	if !right {
		http.Error(w, "This link was used already, or belongs to an earlier vibe: take the one that the computer shows now.", http.StatusForbidden)
		return
	}
	// Lax: a camera that opens the link may count as another site until the redirect is done.
	// What changes anything asks for the origin as well.
	http.SetCookie(w, &http.Cookie{Name: cookie, Value: pass, Path: "/", MaxAge: age, Secure: true, HttpOnly: true, SameSite: http.SameSiteLaxMode})
	http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
	g.paired()
}
