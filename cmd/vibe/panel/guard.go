package panel

import (
	"net/http"
	"slices"
)

// guard lets in who shows the code, once, and after that who shows the pass that was given for
// it. On this computer alone no code is asked: whoever can open a connection there has an
// account on it already, and what other pages of the same browser may try is refused by where
// they come from.
type guard struct {
	scheme string
	hosts  []string // as which the server may be addressed
	inside http.Handler
	pairs  *pairing // nil: no code is asked
}

// ServeHTTP implements http.Handler. A name for this machine that is not its own (DNS
// rebinding), a page from elsewhere, and a device without a pass get nothing.
func (g *guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cache-Control", "no-store")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	code := r.URL.Query().Get("code")
	switch {
	case !slices.Contains(g.hosts, r.Host):
		http.Error(w, "not an address of this vibe", http.StatusMisdirectedRequest)
	case !g.ours(r):
		http.Error(w, "not from a page of this vibe", http.StatusForbidden)
	case g.pairs == nil || g.pairs.known(r):
		if code != "" && r.Method == http.MethodGet { // an old link: out of the address bar with it
			http.Redirect(w, r, r.URL.Path, http.StatusSeeOther)
			return
		}
		g.inside.ServeHTTP(w, r)
	case r.Method == http.MethodGet && code != "":
		g.pairs.enter(w, r, code)
	default:
		http.Error(w, "This page needs the link that the computer with vibe shows.", http.StatusForbidden)
	}
}

// ours reports whether a request can come from a page of this server, or from the address bar
// or a link: what changes anything must say its origin, and what another site's page asks for
// in the background is refused where the browser says so (W3C Fetch Metadata).
func (g *guard) ours(r *http.Request) bool {
	origin, site := r.Header.Get("Origin"), r.Header.Get("Sec-Fetch-Site")
	reads := r.Method == http.MethodGet || r.Method == http.MethodHead
	switch {
	case origin != "":
		return origin == g.scheme+"://"+r.Host
	case !reads:
		return false
	}
	return site == "" || site == "same-origin" || site == "none" || r.Header.Get("Sec-Fetch-Mode") == "navigate"
}
