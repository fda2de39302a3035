package panel

import (
	"net"
	"net/http"
	"net/netip"
	"sync"
	"time"
)

const (
	mostOpen = 128 // connections at once (chosen: twenty viewers with their browsers' six each)
	mostEach = 16  // from one address
	// A page that is loaded asks for ten things at once, then for one or two a second (chosen: room for
	// several of them at one address, and too little to keep the computer busy).
	mostAsked = 30  // requests a second from one address
	atOnce    = 300 // of them without a pause
	// unread is how much may lie there for one that reads nothing, bytes, so that it is dropped soon
	// (chosen: a few words of the page).
	unread = 64 << 10
)

// doors counts who is connected, and how much they ask.
type doors struct {
	mu   sync.Mutex
	all  int
	from map[netip.Addr]*guest
}

// guest is an address with a connection.
type guest struct {
	open    int
	allowed float64 // requests, as of counted
	counted time.Time
}

func newDoors() *doors { return &doors{from: map[netip.Addr]*guest{}} }

// enter counts a connection; ok is false if there is no room for it.
func (d *doors) enter(a netip.Addr) (ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	g := d.from[a]
	switch {
	case d.all >= mostOpen || g != nil && g.open >= mostEach:
		return false
	case g == nil:
		g = &guest{allowed: atOnce, counted: time.Now()}
		d.from[a] = g
	}
	d.all++
	g.open++
	return true
}

func (d *doors) leave(a netip.Addr) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.all--
	if g := d.from[a]; g.open > 1 {
		g.open--
	} else {
		delete(d.from, a)
	}
}

// pace lets through to h what is not too much at once.
func (d *doors) pace(h http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if at, err := netip.ParseAddrPort(r.RemoteAddr); err != nil || !d.ask(at.Addr().Unmap()) {
			http.Error(w, "too much at once", http.StatusTooManyRequests)
			return
		}
		h.ServeHTTP(w, r)
	})
}

// ask counts a request.
func (d *doors) ask(a netip.Addr) (ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	g := d.from[a]
	if g == nil {
		return false // it has gone
	}
	now := time.Now()
	g.allowed = min(atOnce, g.allowed+mostAsked*now.Sub(g.counted).Seconds())
	g.counted = now
	if g.allowed < 1 {
		return false
	}
	g.allowed--
	return true
}

// door is a listener that closes what comes over the limits, so that one address cannot keep
// the others out.
type door struct {
	net.Listener
	doors *doors
}

// Accept implements net.Listener.
func (d *door) Accept() (net.Conn, error) {
	for {
		c, err := d.Listener.Accept()
		if err != nil {
			return nil, err
		}
		_ = c.(*net.TCPConn).SetWriteBuffer(unread) // what the system grants instead will do
		from := c.RemoteAddr().(*net.TCPAddr).AddrPort().Addr().Unmap()
		if d.doors.enter(from) {
			return &counted{Conn: c, leave: sync.OnceFunc(func() { d.doors.leave(from) })}, nil
		}
		c.Close()
	}
}

// counted is a connection that counts until it is closed.
type counted struct {
	net.Conn
	leave func()
}

// Close implements net.Conn.
func (c *counted) Close() error {
	c.leave()
	return c.Conn.Close()
}
