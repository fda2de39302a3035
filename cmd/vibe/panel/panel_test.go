package panel_test

import (
	"crypto/tls"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/cmd/vibe/panel"
)

var loopback = []netip.AddrPort{netip.MustParseAddrPort("127.0.0.1:0")}

// open is a server with one page on it, and how many devices it let in.
func open(t *testing.T) (*panel.Server, *atomic.Int32) {
	paired := new(atomic.Int32)
	s, err := panel.Open(t.TempDir(), loopback, func(kept error) { assert.NoError(t, kept); paired.Add(1) })
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	s.Handle("/page/", http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		fmt.Fprintf(w, "inside %s %d", r.URL.RequestURI(), len(body))
	}))
	return s, paired
}

// device is a browser that keeps its cookies and does not follow redirects.
type device struct {
	t      *testing.T
	client *http.Client
	pass   *http.Cookie
}

func newDevice(t *testing.T) *device {
	d := &device{t: t, client: &http.Client{
		Transport:     &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
	t.Cleanup(d.client.CloseIdleConnections)
	return d
}

func (d *device) ask(method, link, origin, host string, body io.Reader) (*http.Response, string) {
	r, err := http.NewRequestWithContext(d.t.Context(), method, link, body)
	require.NoError(d.t, err)
	if r.Host = host; origin != "" {
		r.Header.Set("Origin", origin)
	}
	if d.pass != nil {
		r.AddCookie(d.pass)
	}
	response, err := d.client.Do(r)
	require.NoError(d.t, err)
	defer response.Body.Close()
	text, err := io.ReadAll(response.Body)
	require.NoError(d.t, err)
	for _, c := range response.Cookies() {
		d.pass = c
	}
	return response, string(text)
}

func (d *device) get(link string) (*http.Response, string) { return d.ask("GET", link, "", "", nil) }

// The link lets in one device, out of whose address bar the code goes at once; the next
// device needs the next link.
func TestPairing(t *testing.T) {
	t.Parallel()
	s, paired := open(t)
	link := s.Links("/page/")[0]
	require.Equal(t, link, s.Links("/page/")[0], "until it is used")
	one := newDevice(t)
	response, _ := one.get(link)
	require.Equal(t, http.StatusSeeOther, response.StatusCode)
	assert.Equal(t, "/page/", response.Header.Get("Location"))
	assert.EqualValues(t, 1, paired.Load())
	assert.True(t, one.pass.Secure && one.pass.HttpOnly)
	assert.Equal(t, "/", one.pass.Path)

	bare, _, _ := strings.Cut(link, "?")
	_, text := one.get(bare)
	assert.Equal(t, "inside /page/ 0", text)
	response, _ = one.get(link)
	assert.Equal(t, "/page/", response.Header.Get("Location"), "the old link is no harm to who is in")

	two := newDevice(t)
	response, text = two.get(link)
	assert.Equal(t, http.StatusForbidden, response.StatusCode)
	assert.Contains(t, text, "was used already")
	assert.NotEqual(t, link, s.Links("/page/")[0])
	two.get(s.Links("/page/")[0])
	_, text = two.get(bare)
	assert.Equal(t, "inside /page/ 0", text)
	assert.EqualValues(t, 2, paired.Load())
}

// Nobody else is let in, and who is in comes from our own page.
func TestRefused(t *testing.T) {
	t.Parallel()
	s, _ := open(t)
	link := s.Links("/page/")[0]
	u, err := url.Parse(link)
	require.NoError(t, err)
	bare := "https://" + u.Host + "/page/"
	in := newDevice(t)
	in.get(link)
	stranger := func() *device { return newDevice(t) }
	forged := newDevice(t)
	forged.pass = &http.Cookie{Name: "__Host-vibe", Value: strings.Repeat("A", 26)}
	for name, c := range map[string]struct {
		who                        *device
		method, link, origin, host string
		status                     int
	}{
		"no pass":                  {stranger(), "GET", bare, "", "", 403},
		"wrong code":               {stranger(), "GET", bare + "?code=AAAA", "", "", 403},
		"empty code":               {stranger(), "GET", bare + "?code=", "", "", 403},
		"forged pass":              {forged, "GET", bare, "", "", 403},
		"code not by GET":          {stranger(), "POST", s.Links("/page/")[0], "https://" + u.Host, "", 403},
		"another name":             {in, "GET", bare, "", "evil.test", 421},
		"another port":             {in, "GET", bare, "", "127.0.0.1:1", 421},
		"a page from elsewhere":    {in, "GET", bare, "https://evil.test", "", 403},
		"a page without TLS":       {in, "GET", bare, "http://" + u.Host, "", 403},
		"a page of nobody":         {in, "POST", bare, "null", "", 403},
		"a change without origin":  {in, "POST", bare, "", "", 403},
		"a change from our page":   {in, "POST", bare, "https://" + u.Host, "", 200},
		"the pass by another path": {in, "GET", "https://" + u.Host + "/other", "", "", 404},
	} {
		response, text := c.who.ask(c.method, c.link, c.origin, c.host, nil)
		assert.Equal(t, c.status, response.StatusCode, "%s: %s", name, text)
		assert.Contains(t, response.Header.Get("Content-Security-Policy"), "default-src 'none'", name)
		assert.Equal(t, c.status == 200, strings.Contains(text, "inside"), name)
	}
	response, text := in.ask("POST", bare, "https://"+u.Host, "", strings.NewReader(strings.Repeat("x", 1<<20)))
	assert.Equal(t, 200, response.StatusCode)
	assert.Equal(t, "inside /page/ 65536", text, "a huge body ends at the limit")
	plain, err := http.Get("http://" + u.Host + "/page/")
	require.NoError(t, err)
	plain.Body.Close()
	assert.Equal(t, http.StatusBadRequest, plain.StatusCode)
	_, err = tls.Dial("tcp", u.Host, &tls.Config{InsecureSkipVerify: true, MaxVersion: tls.VersionTLS11})
	assert.Error(t, err)
}

// Five hundred connections that say nothing keep the server from nobody else, and are gone
// with it.
func TestManyConnections(t *testing.T) {
	t.Parallel()
	s, _ := open(t)
	link := s.Links("/page/")[0]
	u, err := url.Parse(link)
	require.NoError(t, err)
	var silent []net.Conn
	defer func() {
		for _, c := range silent {
			c.Close()
		}
	}()
	for range 500 {
		c, err := net.Dial("tcp", u.Host)
		require.NoError(t, err)
		silent = append(silent, c)
	}
	dropped := map[net.Conn]bool{}
	assert.EventuallyWithT(t, func(now *assert.CollectT) {
		for _, c := range silent {
			require.NoError(t, c.SetReadDeadline(time.Now().Add(time.Millisecond)))
			if _, err := c.Read(make([]byte, 1)); err != nil && !os.IsTimeout(err) {
				dropped[c] = true
			}
		}
		assert.Len(now, dropped, 500-16, "sixteen from one address")
	}, 4*time.Second, 10*time.Millisecond) // less than the silent ones are given
	other := newDevice(t) // comes from another address of the loopback
	other.client.Transport.(*http.Transport).DialContext = (&net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, 2)}}).DialContext
	response, _ := other.get(link)
	assert.Equal(t, http.StatusSeeOther, response.StatusCode)
}

// A device that asks without end is told so, one at another address is not, and after a while it may again.
func TestTooMuch(t *testing.T) {
	t.Parallel()
	s, _ := open(t)
	link := s.Links("/page/")[0]
	in, other := newDevice(t), newDevice(t)
	in.get(link)
	other.client.Transport.(*http.Transport).DialContext = (&net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, 2)}}).DialContext
	other.pass = in.pass
	bare, _, _ := strings.Cut(link, "?")
	served, status := 0, http.StatusOK
	begun := time.Now()
	for ; status == http.StatusOK && served < 5000; served++ {
		response, _ := in.get(bare)
		status = response.StatusCode
	}
	assert.Equal(t, http.StatusTooManyRequests, status)
	assert.GreaterOrEqual(t, served, 300)
	assert.LessOrEqual(t, float64(served), 301+30*time.Since(begun).Seconds())
	response, _ := other.get(bare)
	assert.Equal(t, http.StatusOK, response.StatusCode)
	assert.Eventually(t, func() bool { r, _ := in.get(bare); return r.StatusCode == http.StatusOK }, 2*time.Second, 50*time.Millisecond)
}

// The certificate stays the same from one time to the next, is for its owner's eyes alone,
// and another is made for another address or in the place of rubbish.
func TestCertificate(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "vibe")
	one, err := panel.Certificate(dir, loopback)
	require.NoError(t, err)
	again, err := panel.Certificate(dir, loopback)
	require.NoError(t, err)
	assert.Equal(t, one.Certificate, again.Certificate)
	path := filepath.Join(dir, "certificate.pem")
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	assert.NoError(t, one.Leaf.VerifyHostname("127.0.0.1"))
	assert.LessOrEqual(t, one.Leaf.NotAfter.Sub(one.Leaf.NotBefore), 398*24*time.Hour)

	moved, err := panel.Certificate(dir, []netip.AddrPort{netip.MustParseAddrPort("192.168.1.7:0")})
	require.NoError(t, err)
	assert.NoError(t, moved.Leaf.VerifyHostname("192.168.1.7"))
	assert.NoError(t, moved.Leaf.VerifyHostname("127.0.0.1"), "and for where it was before")

	require.NoError(t, os.WriteFile(path, []byte("rubbish"), 0o600))
	_, err = panel.Certificate(dir, loopback)
	require.NoError(t, err)
	_, err = panel.Certificate(path, loopback)
	require.Error(t, err, "a file in the place of the folder")
}

func TestPortTaken(t *testing.T) {
	t.Parallel()
	s, _ := open(t)
	u, err := url.Parse(s.Links("/")[0])
	require.NoError(t, err)
	_, err = panel.Open(t.TempDir(), []netip.AddrPort{netip.MustParseAddrPort(u.Host)}, func(error) {})
	assert.ErrorContains(t, err, "listen for browsers")
}
