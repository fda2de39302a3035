// Package panel is the server that vibe opens for phones and tablets in the shop, with its
// guard: HTTPS, and nobody in without a code that works once.
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
	"time"
)

const (
	usual = 8443 // the port, if it is free (chosen: what is often used for HTTPS beside 443)

	header = 5 * time.Second  // to say what is wanted, TLS included
	body   = 10 * time.Second // to send it whole
	answer = 30 * time.Second // to take the answer; who streams sets its own
	idle   = 60 * time.Second

	mostHeader = 16 << 10 // bytes
	mostBody   = 64 << 10
)

// Server lets paired devices in over HTTPS. Open makes one.
type Server struct {
	guard guard
	mux   *http.ServeMux
	http  *http.Server
	at    []netip.AddrPort
	ended chan error
}

// Open listens at the addresses given, all on one port: that of the first if it has one, else
// 8443 if that is free. The certificate is kept in the folder dir. paired is called, on any
// goroutine, when a device was let in: from then on Links are others.
func Open(dir string, at []netip.AddrPort, paired func()) (*Server, error) {
	cert, err := Certificate(dir, at)
	if err != nil {
		return nil, err
	}
	listeners, err := listen(at)
	if err != nil {
		return nil, err
	}
	s := &Server{mux: http.NewServeMux(), ended: make(chan error, len(listeners))}
	for _, l := range listeners {
		s.at = append(s.at, l.Addr().(*net.TCPAddr).AddrPort())
	}
	s.guard.open(s.at, s.mux, paired)
	s.http = &http.Server{
		Handler:           http.MaxBytesHandler(&s.guard, mostBody),
		ReadHeaderTimeout: header, ReadTimeout: body, WriteTimeout: answer, IdleTimeout: idle,
		MaxHeaderBytes: mostHeader,
		ErrorLog:       log.New(io.Discard, "", 0), // what strangers do to a port is no news
		// No HTTP/2: a WebSocket needs a connection of its own.
		TLSConfig: &tls.Config{Certificates: []tls.Certificate{cert}, MinVersion: tls.VersionTLS12, NextProtos: []string{"http/1.1"}},
	}
	doors := newDoors()
	for _, l := range listeners {
		go func() { s.ended <- s.http.ServeTLS(&door{l, doors}, "", "") }()
	}
	return s, nil
}

// Handle lets paired devices reach h at pattern, as http.ServeMux has it.
func (s *Server) Handle(pattern string, h http.Handler) { s.mux.Handle(pattern, h) }

// Links are the addresses of path, one for each address of the server, with the code that lets
// in the next device. They are for the eyes of the shop: whoever has one first is in.
func (s *Server) Links(path string) []string {
	code := s.guard.code()
	var links []string
	for _, a := range s.at {
		u := url.URL{Scheme: "https", Host: a.String(), Path: path, RawQuery: "code=" + code}
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
func listen(at []netip.AddrPort) (all []net.Listener, err error) {
	ports := []uint16{at[0].Port()}
	if ports[0] == 0 {
		ports = []uint16{usual, 0}
	}
	for _, port := range ports {
		if all, err = listenOn(at, port); err == nil {
			return all, nil
		}
	}
	return nil, fmt.Errorf("listen for phones: %w", err)
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
