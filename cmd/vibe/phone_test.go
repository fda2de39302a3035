package main

import (
	"bufio"
	"context"
	"crypto/tls"
	"encoding/binary"
	"encoding/json"
	"io"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"

	tea "charm.land/bubbletea/v2"
	"charm.land/lipgloss/v2"
	"github.com/coder/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"rsc.io/qr"

	"vibe/assess"
	"vibe/cmd/vibe/live"
)

// felt is what a phone at 60 Hz feels of a spindle at hz, as its page sends it: rounded to
// 0.1 m/s², at uneven times, with some noise; sample n from the page's second n/60 on.
func felt(rng *rand.Rand, hz float64, first, n int) []byte {
	p := binary.LittleEndian.AppendUint32(nil, 0)
	p = binary.LittleEndian.AppendUint32(p, uint32(first))
	numbers := []float64{1000 * float64(first) / 60}
	round := func(v float64) float64 { return math.Round(10*(v+0.1*rng.NormFloat64())) / 10 }
	for i := first; i < first+n; i++ {
		t := (float64(i) + 0.3*rng.Float64()) / 60
		numbers = append(numbers, 1000*t, round(0.8*math.Sin(2*math.Pi*hz*t)), round(0.3*math.Cos(2*math.Pi*hz*t)), round(9.8))
	}
	for _, v := range numbers {
		p = binary.LittleEndian.AppendUint64(p, math.Float64bits(v))
	}
	return p
}

// The whole way: the command shows a link, a phone comes by it and feels a lathe, and the
// advice is on the phone in the command's own words. Who has no pass feeds nothing.
func TestWatchPhone(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	r, w := io.Pipe()
	msgRead, msg := io.Pipe()
	code := make(chan int, 1)
	go func() {
		args := append([]string{"watch", "--from", "phone", "--address", "127.0.0.1", "--json", "--no-keep", "--speed", "740"}, strings.Fields(demoFlags)...)
		code <- run(ctx, args, nil, w, msg)
		w.Close()
		msg.Close()
	}()
	link, notes := "", make(chan string, 1)
	words := bufio.NewScanner(msgRead)
	for link == "" && words.Scan() {
		if strings.HasPrefix(words.Text(), "https://") {
			link = words.Text()
		}
	}
	require.NotEmpty(t, link)
	go func() {
		var all strings.Builder
		for words.Scan() {
			all.WriteString(words.Text() + "\n")
		}
		notes <- all.String()
	}()

	jar, err := cookiejar.New(nil)
	require.NoError(t, err)
	phone := &http.Client{Jar: jar, Transport: &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true}}}
	defer phone.CloseIdleConnections()
	u, err := url.Parse(link)
	require.NoError(t, err)
	socket, origin := "wss://"+u.Host+"/phone/socket?phone=p&load=1", http.Header{"Origin": {"https://" + u.Host}}
	_, refused, err := websocket.Dial(ctx, socket, &websocket.DialOptions{HTTPClient: phone, HTTPHeader: origin})
	require.Error(t, err)
	assert.Equal(t, http.StatusForbidden, refused.StatusCode)

	page, err := phone.Get(link)
	require.NoError(t, err)
	text, err := io.ReadAll(page.Body)
	require.NoError(t, err)
	page.Body.Close()
	assert.Contains(t, string(text), "this phone feels the lathe")
	assert.NotContains(t, page.Request.URL.String(), "code")
	conn, _, err := websocket.Dial(ctx, socket, &websocket.DialOptions{HTTPClient: phone, HTTPHeader: origin})
	require.NoError(t, err)
	defer conn.CloseNow()
	rng := rand.New(rand.NewPCG(1, 2))
	for n := 0; n < 540; n += 60 { // nine seconds, as if a slow network had held them
		require.NoError(t, conn.Write(ctx, websocket.MessageBinary, felt(rng, 12.2, n, 60)))
	}

	lines := bufio.NewScanner(r)
	lines.Buffer(nil, 1<<20)
	var last said
	for ok := 0; ok < 3 && lines.Scan(); {
		require.NoError(t, json.Unmarshal(lines.Bytes(), &last))
		if last.Reading.OK {
			ok++
			assert.InEpsilon(t, 732, *last.Reading.Speed, 0.004)
		}
	}
	go io.Copy(io.Discard, r)
	for said := ""; !strings.Contains(said, "732 rpm"); {
		_, p, err := conn.Read(ctx)
		require.NoError(t, err)
		var heard struct {
			Shown struct{ Action, Say, Speed string }
		}
		require.NoError(t, json.Unmarshal(p, &heard))
		if said = heard.Shown.Say + " at " + heard.Shown.Speed + " rpm"; heard.Shown.Action == "" {
			continue
		}
		assert.Contains(t, []string{"raise", "hold", "lower", "stop", "wait"}, heard.Shown.Action)
	}
	stop()
	assert.Zero(t, <-code)
	told := <-notes
	assert.NotContains(t, told, strings.Split(link, "code=")[1], "the code is told once")
	assert.Contains(t, told, "a device came in by the link; another one by https://"+u.Host+"/phone/?code=")
}

// A phone's page never shows numbers of data that have stopped.
func TestShownOn(t *testing.T) {
	t.Parallel()
	n := live.Snapshot{Reading: reading(10, 600, 2.4), Advice: assess.Advice{Action: assess.Raise, Speed: 700, Say: "Raise to 700 rpm."}}
	s := shownOn(n)
	assert.Equal(t, "700", s.Target)
	assert.Equal(t, []string{"raise", "Raise to 700 rpm.", "600", "2.4", "lively"}, []string{s.Action, s.Say, s.Speed, s.Shake, s.Feel})
	n.Reading.OK = false
	s = shownOn(n)
	assert.Equal(t, []string{"–", "–", "no number"}, []string{s.Speed, s.Shake, s.Feel})
	n.Stale = true
	s = shownOn(n)
	assert.Equal(t, []string{"–", "–", "no data"}, []string{s.Speed, s.Shake, s.Feel})
	assert.NotEmpty(t, s.Caution)
}

func watchedSession(t *testing.T) (*assess.Adviser, *live.Session) {
	m, a := watched(t)
	return a, m.session
}

// Until a phone has come, and on a key, the screen shows how it comes in; the caution stays on.
func TestScreenInvites(t *testing.T) {
	t.Parallel()
	code, err := qr.Encode("https://192.168.178.123:8443/phone/?code="+strings.Repeat("A", 26), qr.L)
	require.NoError(t, err)
	assert.LessOrEqual(t, len(halfBlocks(code))+3+2, fullHeight, "fits beside its words")
	s := live.New("phone", &assess.Adviser{})
	t.Cleanup(s.End)
	m := newScreen(s, nil)
	link := "https://192.168.178.123:8443/phone/?code=" + strings.Repeat("A", 26)
	m.invite = func(int, int) []string { return []string{"the link", link} }
	for _, size := range [][2]int{{40, 12}, {80, 24}, {120, 40}} {
		m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
		assert.Contains(t, regexp.MustCompile(`\s`).ReplaceAllString(shown(m), ""), link, "whole, %v", size)
		for _, l := range strings.Split(shown(m), "\n") {
			assert.LessOrEqual(t, lipgloss.Width(l), size[0])
		}
	}
	assert.Contains(t, shown(m), "the link")
	assert.Contains(t, shown(m), "! ")
	s.Block(block(1))
	m.listen()
	assert.NotContains(t, shown(m), "the link")
	press(m, "p")
	assert.Contains(t, shown(m), "the link")
	press(m, "x")
	assert.NotContains(t, shown(m), "the link")
}

// Whenever the invitation is open its caution is whole, and a note that is not says so.
func TestScreenInvitesWhole(t *testing.T) {
	t.Parallel()
	m, _ := watched(t)
	m.invite = func(int, int) []string { return []string{"the link"} }
	m.session.Note("the page is at http://127.0.0.1:8480/ for a browser on this computer, and goes on and on")
	m.Update(news{})
	press(m, "p")
	for i := range assess.Cautions() {
		m.now.Clock = 10 * float64(i)
		lines := strings.Split(shown(m), "\n")
		assert.Equal(t, " ! Wear a face shield, and stand out of the line of fire.", lines[1])
		assert.Contains(t, lines[2], " any key goes back   the page is at ")
		assert.Contains(t, lines[2], "…")
		assert.Len(t, lines, 3)
	}
}

// Nobody is sent to look for a code that is not there.
func TestInvitationWithoutCode(t *testing.T) {
	t.Parallel()
	links := []string{"https://192.168.1.20:8443/phone/?code=NTQWUQAXRLNXSAUIHIIWZJMPJO"}
	for _, c := range []struct {
		width, height int
		code, window  bool // is drawn, is said to be needed
	}{{80, 22, true, false}, {60, 18, false, true}, {100, 0, false, false}} {
		said := strings.Join(invitation(links, c.width, c.height), "\n")
		assert.Contains(t, said, links[0])
		assert.Equal(t, c.code, strings.Contains(said, "▄"), "%+v", c)
		assert.Equal(t, c.code, strings.Contains(said, "at the code"), "%+v", c)
		assert.Equal(t, c.window, strings.Contains(said, "80 by 24"), "%+v", c)
	}
}
