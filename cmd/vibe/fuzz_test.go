package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzUnits holds any text as any number: it is a positive number that may be meant, or an
// error that quotes it and says how to write it, and never takes the e of 1e5 for a unit.
func FuzzUnits(f *testing.F) {
	kinds := []kind{lengthKind, massKind, speedKind, rateKind, percentKind, accelerationKind, baudKind, shakeKind}
	for i, text := range []string{"12-1/2in", "1e300", "1e5", "5lb", "3,5cm", "0x1p4mm", "١٢mm", "1 e3 kg", "-0", "1e400", "2 g g"} {
		f.Add(i, text)
	}
	f.Fuzz(func(t *testing.T, i int, text string) {
		k := kinds[uint(i)%uint(len(kinds))]
		v, err := k.parse(text)
		if err == nil {
			require.True(t, v > 0 && v <= k.most, "%q is %v", text, v)
			return
		}
		require.Zero(t, v)
		require.Contains(t, err.Error(), `"`)
		require.NotEmpty(t, hintOf(err))
		if _, number := strconv.ParseFloat(strings.TrimSpace(text), 64); number == nil {
			require.NotContains(t, err.Error(), "unit \"", text)
		}
	})
}

// FuzzRead goes the whole way with any bytes as the recording: it ends with 0 and one JSON
// document, or with 1, words on standard error and nothing on standard output.
func FuzzRead(f *testing.F) {
	var turning strings.Builder
	turning.WriteString("t_s,x_m/s2,y_m/s2\n")
	for i := range 300 {
		fmt.Fprintf(&turning, "%.2f,%d,%d\n", float64(i)/100, i%7, i%5)
	}
	f.Add([]byte(turning.String()))
	f.Add([]byte("0;0,1;9,8\n0,001;1e300;9,8\n"))
	f.Add([]byte("time_ns,ax,ay,az\n1,0,0,1\n5,0,0,1\n"))
	f.Add(wav(1, 10, 0.5))
	f.Fuzz(func(t *testing.T, file []byte) {
		var out, msg bytes.Buffer
		switch code := run(t.Context(), []string{"read", "-", "--json", "--full-scale", "2g", "--skip-bad"}, bytes.NewReader(file), &out, &msg); code {
		case 0:
			require.True(t, json.Valid(out.Bytes()))
		case 1:
			require.Empty(t, out.String())
			require.Contains(t, msg.String(), "vibe: ")
		default:
			t.Fatalf("exit %d: %s", code, &msg)
		}
	})
}
