package panel_test

import (
	"encoding/json"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/cmd/vibe/panel"
)

// openIn is a server whose passes are in dir, at the address given.
func openIn(t *testing.T, dir string, at netip.AddrPort, paired func(error)) *panel.Server {
	t.Helper()
	s, err := panel.Open(dir, []netip.AddrPort{at}, paired)
	require.NoError(t, err)
	s.Handle("/page/", http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { _, _ = w.Write([]byte("inside")) }))
	return s
}

// free is an address of this test's own, which it can come back to: others take the usual port.
func free(t *testing.T, ip string) netip.AddrPort {
	t.Helper()
	l, err := net.Listen("tcp", ip+":0")
	require.NoError(t, err)
	defer l.Close()
	return netip.MustParseAddrPort(l.Addr().String())
}

// bare is a link without its code, and where it leads.
func bare(t *testing.T, link string) (string, netip.AddrPort) {
	u, err := url.Parse(link)
	require.NoError(t, err)
	return "https://" + u.Host + u.Path, netip.MustParseAddrPort(u.Host)
}

// A device that was let in comes back by itself to a server that was started anew, and what is
// kept of its pass lets in nobody else.
func TestPassOutlivesServer(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := openIn(t, dir, free(t, "127.0.0.3"), func(err error) { assert.NoError(t, err) })
	link, at := bare(t, s.Links("/page/")[0])
	d := newDevice(t)
	d.get(s.Links("/page/")[0])
	require.NotNil(t, d.pass)
	require.NoError(t, s.Close())
	d.client.CloseIdleConnections()

	path := filepath.Join(dir, "passes.json")
	info, err := os.Stat(path)
	require.NoError(t, err)
	assert.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	assert.NotContains(t, string(text), d.pass.Value)

	s = openIn(t, dir, at, func(error) {})
	defer func() { assert.NoError(t, s.Close()) }()
	response, body := d.get(link)
	assert.Equal(t, 200, response.StatusCode)
	assert.Equal(t, "inside", body)
	var kept []struct {
		Digest string `json:"sha256"`
	}
	require.NoError(t, json.Unmarshal(text, &kept))
	thief := newDevice(t)
	thief.pass = &http.Cookie{Name: d.pass.Name, Value: kept[0].Digest}
	response, _ = thief.get(link)
	assert.Equal(t, 403, response.StatusCode)
}

// A pass ends after a month, one that no vibe gave counts for nothing, and rubbish in the
// place of the file, or a folder that cannot be written to, lets nobody in by mistake and
// keeps nobody out who has the code.
func TestPassEnds(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	path := filepath.Join(dir, "passes.json")
	s := openIn(t, dir, free(t, "127.0.0.4"), func(error) {})
	link, at := bare(t, s.Links("/page/")[0])
	d := newDevice(t)
	d.get(s.Links("/page/")[0])
	require.NoError(t, s.Close())
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	var kept []map[string]any
	require.NoError(t, json.Unmarshal(text, &kept))
	until, err := time.Parse(time.RFC3339Nano, kept[0]["until"].(string))
	require.NoError(t, err)
	assert.InDelta(t, 30*24, time.Until(until).Hours(), 1)

	for name, change := range map[string]func() string{
		"over":        func() string { kept[0]["until"] = time.Now().Add(-time.Second); return marshal(t, kept) },
		"for ever":    func() string { kept[0]["until"] = time.Now().AddDate(100, 0, 0); return marshal(t, kept) },
		"no digest":   func() string { kept[0] = map[string]any{"until": until}; return marshal(t, kept) },
		"rubbish":     func() string { return "rubbish" },
		"cut":         func() string { return string(text[:len(text)/2]) },
		"nothing":     func() string { return "" },
		"no document": func() string { return "null" },
	} {
		require.NoError(t, os.WriteFile(path, []byte(change()), 0o600))
		s := openIn(t, dir, at, func(err error) { assert.NoError(t, err, name) })
		d.client.CloseIdleConnections()
		response, _ := d.get(link)
		assert.Equal(t, 403, response.StatusCode, name)
		other := newDevice(t)
		other.get(s.Links("/page/")[0])
		response, _ = other.get(link)
		assert.Equal(t, 200, response.StatusCode, name)
		require.NoError(t, s.Close())
	}

	require.NoError(t, os.Remove(path))
	require.NoError(t, os.Mkdir(path, 0o700)) // a folder in the place of the file
	refused := make(chan error, 1)
	s = openIn(t, dir, at, func(err error) { refused <- err })
	defer s.Close()
	other := newDevice(t)
	other.get(s.Links("/page/")[0])
	assert.Error(t, <-refused, "said, and let in for now")
	response, _ := other.get(link)
	assert.Equal(t, 200, response.StatusCode)
}

func marshal(t *testing.T, v any) string {
	text, err := json.Marshal(v)
	require.NoError(t, err)
	return string(text)
}

// On this computer there is neither a certificate to accept nor a code; other names of it, and
// what other sites' pages try, are refused all the same.
func TestOpenHere(t *testing.T) {
	t.Parallel()
	s, err := panel.OpenHere()
	require.NoError(t, err)
	t.Cleanup(func() { assert.NoError(t, s.Close()) })
	s.Handle("/", http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { _, _ = w.Write([]byte("inside")) }))
	link := s.Links("/")[0]
	u, err := url.Parse(link)
	require.NoError(t, err)
	assert.Equal(t, "http://127.0.0.1:"+u.Port()+"/", link)
	for name, c := range map[string]struct {
		method, origin, host, site, mode string
		status                           int
	}{
		"the address bar":               {method: "GET", status: 200},
		"by name":                       {method: "GET", host: "localhost:" + u.Port(), status: 200},
		"our page":                      {method: "GET", site: "same-origin", mode: "cors", status: 200},
		"a link elsewhere":              {method: "GET", site: "cross-site", mode: "navigate", status: 200},
		"a change from our page":        {method: "POST", origin: "http://" + u.Host, status: 200},
		"a name that leads here":        {method: "GET", host: "evil.test", status: 421},
		"the same with the port":        {method: "GET", host: "evil.test:" + u.Port(), status: 421},
		"another port of here":          {method: "GET", host: "127.0.0.1:1", status: 421},
		"a picture in another page":     {method: "GET", site: "cross-site", mode: "no-cors", status: 403},
		"another port's page":           {method: "GET", site: "same-site", mode: "cors", status: 403},
		"another site's script":         {method: "GET", origin: "http://evil.test", status: 403},
		"another port's origin":         {method: "GET", origin: "http://127.0.0.1:1", status: 403},
		"nobody's page":                 {method: "POST", origin: "null", status: 403},
		"a change of no origin":         {method: "POST", status: 403},
		"a form elsewhere":              {method: "POST", site: "cross-site", mode: "navigate", status: 403},
		"a change from a name for here": {method: "POST", origin: "http://localhost:" + u.Port(), status: 403},
	} {
		r, err := http.NewRequestWithContext(t.Context(), c.method, link, strings.NewReader(""))
		require.NoError(t, err)
		r.Host = c.host
		for k, v := range map[string]string{"Origin": c.origin, "Sec-Fetch-Site": c.site, "Sec-Fetch-Mode": c.mode} {
			if v != "" {
				r.Header.Set(k, v)
			}
		}
		response, err := http.DefaultClient.Do(r)
		require.NoError(t, err)
		response.Body.Close()
		assert.Equal(t, c.status, response.StatusCode, name)
	}
	_, err = http.Get("https://" + u.Host + "/")
	assert.Error(t, err)
	two, err := panel.OpenHere() // its port may be taken
	require.NoError(t, err)
	assert.NotEqual(t, link, two.Links("/")[0])
	assert.NoError(t, two.Close())
}
