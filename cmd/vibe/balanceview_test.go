package main

import (
	"encoding/binary"
	"encoding/json"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"vibe/assess"
	"vibe/cmd/vibe/live"
	"vibe/cmd/vibe/panel"
	"vibe/dsp"
)

// balanced is a view of a real lathe with a blank of 250 mm; nothing is kept of it but for the test.
func balanced(t *testing.T) (*live.Session, *balanceView) {
	t.Setenv("XDG_DATA_HOME", t.TempDir())
	blank := assess.Blank{Diameter: 250, Length: 120, Held: assess.Faceplate, Tailstock: true, Balance: assess.Sawn}
	s := live.New("test", &assess.Adviser{Lathe: assess.Lathe{Low: 200, High: 3000}, Blank: blank, Task: assess.Roughing})
	t.Cleanup(s.End)
	v := viewOf(s, assess.Lathe{Low: 200, High: 3000}, false).balance
	return s, v
}

var aScrew = panel.Said{Balance: "begin", Trial: "20 g", Radius: "100 mm", Fastened: "screwed"}

// turns gives the view readings of a steady lathe until the run is over, a minute at most.
func turns(v *balanceView, n assess.RPM, shake float64) {
	for i := 0; i < 240 && v.progress().Taking != ""; i++ {
		v.see(assess.Reading{T: float64(i) / 4, Span: 2, OK: true, Speed: n, SpeedSE: 0.1, Shake: shake, ShakeSE: shake / 100}, assess.Advice{Action: assess.Hold})
	}
}

// The runs of a real lathe come from the readings of the session, and the answer is that of vibe balance, which
// finds them in the same file.
func TestBalanceOnThePage(t *testing.T) {
	_, v := balanced(t)
	said, err := v.say(aScrew)
	require.NoError(t, err)
	assert.Contains(t, said, "the first run is the blank as it is")
	s, err := loadBalance()
	require.NoError(t, err)
	for i, shake := range []float64{2.4, 1.55, 3, 3.3} { // as in the README's example, halved
		assert.Contains(t, told1(t, v), "Run "+string(rune('1'+i))+" of 4 comes next.")
		_, err = v.say(panel.Said{Balance: "take"})
		require.NoError(t, err)
		turns(v, assess.RPM(s.Speed), shake)
		assert.Contains(t, v.progress().Said, "the run is kept")
	}
	doc, err := v.show()
	require.NoError(t, err)
	require.NotNil(t, doc.Picture)
	s, err = loadBalance()
	require.NoError(t, err)
	require.Len(t, s.Runs, 4)
	_, heavy, err := s.next()
	require.NoError(t, err)
	assert.Equal(t, []float64{0, 120, 240}, doc.Picture.Made)
	require.NotEmpty(t, doc.Picture.Heavy)
	assert.InDelta(t, heavy.Answers[0].Heavy, doc.Picture.Heavy[0].At, 1e-9)
	text, err := json.Marshal(doc)
	require.NoError(t, err)
	for _, c := range assess.BalanceCautions() {
		assert.Contains(t, string(text), c)
	}
	_, err = v.say(panel.Said{Balance: "again"})
	require.NoError(t, err)
	assert.Contains(t, told1(t, v), "Run 4 of 4")
}

// told1 is the first line of what the page says.
func told1(t *testing.T, v *balanceView) string {
	doc, err := v.show()
	require.NoError(t, err)
	return doc.Lines[0]
}

// Nothing is kept of a run that is too fast, that is to stop, that was left, or of another blank; what was kept
// before stays.
func TestBalanceRefusesOnThePage(t *testing.T) {
	session, v := balanced(t)
	for _, bad := range []panel.Said{
		{Balance: "take"}, {Balance: "again"}, {Balance: "dance"},
		{Balance: "begin"}, {Balance: "begin", Trial: "20 g"}, {Balance: "begin", Trial: "0 g", Radius: "100 mm"},
		{Balance: "begin", Trial: "20 g", Radius: "900 mm"}, {Balance: "begin", Trial: "20 g", Radius: "100 mm", Fastened: "glued"},
		{Balance: "begin", Trial: "4 kg", Radius: "100 mm", Fastened: "taped"},
	} {
		_, err := v.say(bad)
		assert.Error(t, err, "%+v", bad)
	}
	assert.Contains(t, told1(t, v), "No balancing")
	_, err := v.say(aScrew)
	require.NoError(t, err)
	s, err := loadBalance()
	require.NoError(t, err)
	take := func() {
		t.Helper()
		_, err := v.say(panel.Said{Balance: "take"})
		require.NoError(t, err)
	}
	kept := func() int {
		now, err := loadBalance()
		require.NoError(t, err)
		return len(now.Runs)
	}
	n := assess.RPM(s.Speed)
	take()
	_, err = v.say(panel.Said{Balance: "take"})
	assert.ErrorContains(t, err, "a run is being taken")
	turns(v, n, 2)
	require.Equal(t, 1, kept())

	take()
	v.see(assess.Reading{T: 1, Span: 2, OK: true, Speed: 2000, Shake: 2}, assess.Advice{Action: assess.Hold})
	assert.Contains(t, v.progress().Said, "switch off: this turns at 2000 rpm")
	take()
	v.see(assess.Reading{T: 1, Span: 2, OK: true, Speed: n, Shake: 12}, assess.Advice{Action: assess.Stop, Say: "Stop: it is violent."})
	assert.Contains(t, v.progress().Said, "no run was kept: Stop: it is violent")
	take()
	_, err = v.say(panel.Said{Balance: "leave"})
	require.NoError(t, err)
	turns(v, n, 2)
	take()
	turns(v, 0.8*n, 2) // never steady at the speed of the others
	assert.Equal(t, 1, kept())
	assert.NotContains(t, v.progress().Said, "the run is kept")
	_, _ = v.say(panel.Said{Balance: "leave"})

	other := session.Now().Blank
	other.Diameter = 120
	require.NoError(t, session.Tell(other, assess.Roughing))
	_, err = v.say(panel.Said{Balance: "take"})
	assert.ErrorContains(t, err, "120 mm across, not 250 mm")
	assert.Equal(t, 1, kept())
}

// With a trial mass on the blank nothing faster is advised, on no screen, until the lathe has stood; a danger is.
func TestBalanceTempers(t *testing.T) {
	_, v := balanced(t)
	_, err := v.say(aScrew)
	require.NoError(t, err)
	s, err := loadBalance()
	require.NoError(t, err)
	turning := assess.Reading{T: 1, Span: 2, OK: true, Speed: assess.RPM(s.Speed), Shake: 2}
	raise := assess.Advice{Action: assess.Raise, Speed: 900, Say: "Raise to 900 rpm."}
	guess := assess.Advice{Action: assess.Hold, Speed: turning.Speed, Say: "Hold; to 900 rpm if the dial shows that."}
	assert.Equal(t, raise, v.temper(turning, raise), "no run yet")
	_, err = v.say(panel.Said{Balance: "take"})
	require.NoError(t, err)
	for range 2 { // while it is taken, and when it was left
		for _, a := range []assess.Advice{raise, guess} {
			got := v.temper(turning, a)
			assert.Contains(t, []assess.Action{assess.Hold, assess.Wait}, got.Action)
			assert.NotContains(t, got.Say, "900")
			assert.LessOrEqual(t, got.Speed, turning.Speed)
		}
		for _, a := range []assess.Action{assess.Stop, assess.Lower, assess.Wait} {
			danger := assess.Advice{Action: a, Say: "!"}
			assert.Equal(t, danger, v.temper(turning, danger))
		}
		_, err = v.say(panel.Said{Balance: "leave"})
		require.NoError(t, err)
	}
	v.temper(assess.Reading{T: 9, Faults: []dsp.Fault{dsp.NoTurn}}, assess.Advice{Action: assess.Wait})
	assert.Equal(t, raise, v.temper(turning, raise), "it stood: the mass can be off")
	assert.Equal(t, raise, (*balanceView)(nil).temper(turning, raise))
}

// What the page asks for only while somebody looks: the spectrum has the line where the spindle is, and the sound is
// the WAV of vibe learn hear; of nothing there is none.
func TestPageParts(t *testing.T) {
	t.Parallel()
	s, server := lookedAt(t)
	get := func(path string) (int, []byte) {
		r, err := http.Get(server.URL + path)
		require.NoError(t, err)
		defer r.Body.Close()
		text, err := io.ReadAll(r.Body)
		require.NoError(t, err)
		return r.StatusCode, text
	}
	for _, path := range []string{"/sound", "/sound?mark=0", "/sound?mark=x", "/sound?mark=-1"} {
		status, _ := get(path)
		assert.Equal(t, 404, status, path)
	}
	at := feel(s, 0, 8, 600, 2)
	w := httptest.NewRecorder()
	(&spectrumView{session: s}).ServeHTTP(w, nil)
	var is struct {
		First float64   `json:"first_rpm"`
		Step  float64   `json:"step_rpm"`
		Line  float64   `json:"line_rpm"`
		Shake []float64 `json:"shake_mm_s"`
	}
	require.NoError(t, json.Unmarshal(w.Body.Bytes(), &is), w.Body)
	assert.InDelta(t, 600, is.Line, 1e-6)
	for rpm, want := range map[float64]float64{600: 2, 1200: 1} { // half as hard at twice of it
		k := int((rpm - is.First) / is.Step) // the bin below it
		got := max(is.Shake[k], is.Shake[k+1])
		assert.Less(t, got, 1.01*want)
		assert.Greater(t, got, want*math.Pow(10, -1.42/20)*0.99, "a picture's line is up to 15 % low")
	}

	status, wav := get("/sound")
	require.Equal(t, 200, status)
	var head struct {
		RIFF [4]byte
		Size uint32
		WAVE [4]byte
	}
	_, err := binary.Decode(wav, binary.LittleEndian, &head)
	require.NoError(t, err)
	assert.Equal(t, "RIFFWAVE", string(head.RIFF[:])+string(head.WAVE[:]))
	assert.EqualValues(t, len(wav)-8, head.Size)
	_, _ = s.Mark(live.Comfortable)
	feel(s, at, 20, 600, 0.5)
	_, marked := get("/sound?mark=0")
	assert.Equal(t, wav, marked, "the moment of the mark, not of now")
	_, now := get("/sound")
	assert.NotEqual(t, wav, now)
}
