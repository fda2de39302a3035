package panel

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"time"
)

const (
	// valid is how long a certificate is (Apple refuses more than 398 days, CA/Browser Forum
	// Baseline Requirements 6.3.2).
	valid = 397 * 24 * time.Hour
	// renewed is how long before its end another is made (chosen).
	renewed = 7 * 24 * time.Hour
)

// Certificate is the one kept in the folder dir, ECDSA P-256 and signed by itself. Where there
// is none that is valid for the addresses given, one is made and kept: it then is another for
// every browser. File and key are for their owner alone.
func Certificate(dir string, at []netip.AddrPort) (tls.Certificate, error) {
	path := filepath.Join(dir, "certificate.pem")
	var known []net.IP
	if text, err := os.ReadFile(path); err == nil {
		cert, err := tls.X509KeyPair(text, text)
		if err == nil && time.Until(cert.Leaf.NotAfter) > renewed {
			known = cert.Leaf.IPAddresses
			if covers(known, at) {
				return cert, nil
			}
		}
	}
	for _, a := range at {
		if ip := net.IP(a.Addr().AsSlice()); !slices.ContainsFunc(known, ip.Equal) {
			known = append(known, ip)
		}
	}
	text, err := sign(known[max(0, len(known)-16):])
	if err != nil {
		return tls.Certificate{}, fmt.Errorf("make a certificate: %w", err)
	}
	if err := keep(path, text); err != nil {
		return tls.Certificate{}, fmt.Errorf("keep the certificate: %w", err)
	}
	return tls.X509KeyPair(text, text)
}

func covers(known []net.IP, at []netip.AddrPort) bool {
	for _, a := range at {
		if !slices.ContainsFunc(known, net.IP(a.Addr().AsSlice()).Equal) {
			return false
		}
	}
	return true
}

// sign makes a certificate and its key, both as PEM.
func sign(ips []net.IP) ([]byte, error) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return nil, err
	}
	number, err := rand.Int(rand.Reader, new(big.Int).Lsh(big.NewInt(1), 127))
	if err != nil {
		return nil, err
	}
	now := time.Now()
	about := &x509.Certificate{
		SerialNumber: number, Subject: pkix.Name{CommonName: "vibe in this shop"},
		NotBefore: now.Add(-time.Hour), NotAfter: now.Add(valid), // phones' clocks are a little off
		KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		BasicConstraintsValid: true, IPAddresses: ips, DNSNames: []string{"localhost"},
	}
	cert, err := x509.CreateCertificate(rand.Reader, about, about, &key.PublicKey, key)
	if err != nil {
		return nil, err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		return nil, err
	}
	return append(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: cert}),
		pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret})...), nil
}

// keep writes the file whole or not at all.
func keep(path string, text []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+"-*") // 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone by then if all went well
	if _, err := f.Write(text); err != nil {
		f.Close()
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}
