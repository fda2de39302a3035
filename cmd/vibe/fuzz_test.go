package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

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
