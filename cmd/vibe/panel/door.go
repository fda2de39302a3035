package panel

import (
	"net"
	"net/netip"
	"sync"
)

const (
	mostOpen = 128 // connections at once (chosen: twenty viewers with their browsers' six each)
	mostEach = 16  // from one address
	// unread is how much may lie there for one that reads nothing, bytes, so that it is dropped soon
	// (chosen: a few words of the page).
	unread = 64 << 10
)

// doors counts who is connected.
type doors struct {
	mu   sync.Mutex
	all  int
	from map[netip.Addr]int
}

func newDoors() *doors { return &doors{from: map[netip.Addr]int{}} }

// count enters a connection, or with -1 takes it out; ok is false if there is no room for it.
func (d *doors) count(a netip.Addr, n int) (ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if n > 0 && (d.all >= mostOpen || d.from[a] >= mostEach) {
		return false
	}
	d.all += n
	if d.from[a] += n; d.from[a] == 0 {
		delete(d.from, a)
	}
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
		from := c.RemoteAddr().(*net.TCPAddr).AddrPort().Addr()
		if d.doors.count(from, 1) {
			return &counted{Conn: c, leave: sync.OnceFunc(func() { d.doors.count(from, -1) })}, nil
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
