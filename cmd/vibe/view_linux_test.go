package main

import (
	"context"
	"crypto/tls"
	"io"
	"net"
	"net/http"
	"net/http/cookiejar"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
)

// BenchmarkTwentyViewers is the share of a core that twenty pages cost over TLS, four readings a second with two
// minutes of the past, each asking for the spectrum once a second; what the twenty spend on it themselves, in this
// same process, is in it.
func BenchmarkTwentyViewers(b *testing.B) {
	job := demoJob()
	s := live.New("test", &assess.Adviser{Lathe: job.lathe, Blank: job.blank, Task: job.task})
	defer s.End()
	link, end := shownAt(b, viewOf(s, job.lathe, false), b.TempDir(), "127.0.0.1:0")
	defer end()
	heard := atomic.Int64{}
	ctx, cancel := context.WithCancel(b.Context())
	defer cancel()
	jar, err := cookiejar.New(nil)
	require.NoError(b, err)
	at := feel(s, 0, 120, 600, 1.2)
	for i := range 20 {
		from := &net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, 0, byte(10+i))}}
		viewer := &http.Client{Jar: jar, Transport: &http.Transport{DialContext: from.DialContext, TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
		if i == 0 {
			answer, err := viewer.Get(link) // the others have its pass
			require.NoError(b, err)
			answer.Body.Close()
			link, _, _ = strings.Cut(link, "?")
		}
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, link+"events", nil)
		require.NoError(b, err)
		answer, err := viewer.Do(r)
		require.NoError(b, err)
		require.Equal(b, http.StatusOK, answer.StatusCode)
		defer answer.Body.Close()
		go func() {
			word := make([]byte, 1<<16)
			for n, err := 0, error(nil); err == nil; n, err = answer.Body.Read(word) {
				heard.Add(int64(n))
			}
		}()
		go func() {
			for every := time.NewTicker(time.Second); ; {
				select {
				case <-ctx.Done():
					every.Stop()
					return
				case <-every.C:
					if answer, err := viewer.Get(link + "spectrum"); err == nil {
						_, _ = io.Copy(io.Discard, answer.Body)
						answer.Body.Close()
					}
				}
			}
		}()
	}
	spent := func() time.Duration {
		var u syscall.Rusage
		require.NoError(b, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	b.ResetTimer()
	before, began, bytes := spent(), time.Now(), heard.Load()
	for range b.N {
		at = feel(s, at, 0.25, 600, 1.2)
		time.Sleep(250 * time.Millisecond)
	}
	seconds := time.Since(began)
	b.ReportMetric(100*float64(spent()-before)/float64(seconds), "%_of_a_core")
	b.ReportMetric(float64(heard.Load()-bytes)/1000/seconds.Seconds()/20, "kB/s_a_viewer")
}
