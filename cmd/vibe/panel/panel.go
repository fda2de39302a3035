// Package panel is the server that vibe opens for browsers: for phones and tablets in the shop
// over HTTPS, with nobody in without a code that works once; for this computer alone without
// either.
//
// What belongs here: who may come in, the certificate, the limits. What does not: the pages
// that others mount (Handle), and what the lathe does.
package panel

import (
	"cmp"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"path/filepath"
	"time"
)

const (
	// The ports, if they are free: a page finds its way back to a vibe that is started anew.
	usual     = 8443 // chosen: what is often used for HTTPS beside 443
	usualHere = 8480 // chosen: likewise beside 80, and rarely taken

	header = 5 * time.Second  // to say what is wanted, TLS included
	body   = 10 * time.Second // to send it whole
	answer = 30 * time.Second // to take the answer; who streams sets its own
	idle   = 60 * time.Second

	mostHeader = 16 << 10 // bytes
	mostBody   = 64 << 10
)

// Server lets in who may come. Open and OpenHere make one.
type Server struct {
	guard guard
	doors *doors
	mux   *http.ServeMux
	http  *http.Server
	at    []netip.AddrPort
	ended chan error
}

// Open listens over HTTPS at the addresses given, all on one port: that of the first if it has
// one, else 8443 if that is free. Certificate and passes are kept in the folder dir. paired is
// called, on any goroutine, when a device was let in: from then on Links are others. Its error
// says why the device's pass could not be kept, and so ends with this server.
func Open(dir string, at []netip.AddrPort, paired func(error)) (*Server, error) {
	cert, err := Certificate(dir, at)
	if err != nil {
		return nil, err
	}
	listeners, err := listen(at, usual)
	if err != nil {
		return nil, err
	}
	s := serverOf(listeners)
	s.guard = guard{scheme: "https", inside: s.mux, pairs: newPairing(filepath.Join(dir, "passes.json"), paired)}
	for _, a := range s.at {
		s.guard.hosts = append(s.guard.hosts, a.String())
	}
	// No HTTP/2: a WebSocket needs a connection of its own.
	s.http.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}}
	s.serve(listeners, func(l net.Listener) error { return s.http.ServeTLS(l, "", "") })
	return s, nil
}

// OpenHere listens on this computer alone, on port 8480 if that is free: over plain HTTP,
// which never leaves the machine and which browsers trust there (W3C Secure Contexts, 3.1),
// and without a code.
func OpenHere() (*Server, error) {
	listeners, err := listen([]netip.AddrPort{netip.AddrPortFrom(netip.AddrFrom4([4]byte{127, 0, 0, 1}), 0)}, usualHere)
	if err != nil {
		return nil, err
	}
	s := serverOf(listeners)
	port := fmt.Sprint(s.at[0].Port())
	s.guard = guard{scheme: "http", inside: s.mux, hosts: []string{"127.0.0.1:" + port, "localhost:" + port}}
	s.serve(listeners, s.http.Serve)
	return s, nil
}

func serverOf(listeners []net.Listener) *Server {
	s := &Server{mux: http.NewServeMux(), doors: newDoors(), ended: make(chan error, len(listeners))}
	for _, l := range listeners {
		s.at = append(s.at, l.Addr().(*net.TCPAddr).AddrPort())
	}
	s.http = &http.Server{
		Handler:           http.MaxBytesHandler(s.doors.pace(&s.guard), mostBody),
		ReadHeaderTimeout: header, ReadTimeout: body, WriteTimeout: answer, IdleTimeout: idle,
		MaxHeaderBytes: mostHeader,
		ErrorLog:       log.New(io.Discard, "", 0), // what strangers do to a port is no news
	}
	return s
}

func (s *Server) serve(listeners []net.Listener, by func(net.Listener) error) {
	for _, l := range listeners {
		go func() { s.ended <- by(&door{l, s.doors}) }()
	}
}

// Handle lets who may come reach h at pattern, as http.ServeMux has it.
func (s *Server) Handle(pattern string, h http.Handler) { s.mux.Handle(pattern, h) }

// Links are the addresses of path, one for each address of the server, with the code that lets
// in the next device where one is asked. They are for the eyes of the shop: whoever has one
// first is in.
func (s *Server) Links(path string) []string {
	code := ""
	if s.guard.pairs != nil {
		code = "code=" + s.guard.pairs.code()
	}
	var links []string
	for _, a := range s.at {
		u := url.URL{Scheme: s.guard.scheme, Host: a.String(), Path: path, RawQuery: code}
		links = append(links, u.String())
	}
	return links
}

// Close ends the server, and the connections of all that is no WebSocket: those are their
// owner's to close. Its error says that the server had failed before.
func (s *Server) Close() error {
	failed := s.http.Close()
	for range s.at {
		if err := <-s.ended; !errors.Is(err, http.ErrServerClosed) {
			failed = cmp.Or(failed, err)
		}
	}
	return failed
}

// listen opens a listener for each address, all on one port.
func listen(at []netip.AddrPort, usual uint16) (all []net.Listener, err error) {
	ports := []uint16{at[0].Port()}
	if ports[0] == 0 {
		ports = []uint16{usual, 0}
	}
	for _, port := range ports {
		if all, err = listenOn(at, port); err == nil {
			return all, nil
		}
	}
	return nil, fmt.Errorf("listen for browsers: %w", err)
}

func listenOn(at []netip.AddrPort, port uint16) (all []net.Listener, err error) {
	var config net.ListenConfig
	for _, a := range at {
		l, err := config.Listen(context.Background(), "tcp", netip.AddrPortFrom(a.Addr(), port).String())
		if err != nil {
			for _, l := range all {
				l.Close()
			}
			return nil, err
		}
		all, port = append(all, l), l.Addr().(*net.TCPAddr).AddrPort().Port()
	}
	return all, nil
}
