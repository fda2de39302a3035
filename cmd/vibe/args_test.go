package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Whatever is typed, the command ends with 0 and a document, or with 1 or 2, one line that
// says why, and nothing on standard output.
func TestAnyArguments(t *testing.T) {
	t.Parallel()
	flags := []string{"diameter", "length", "mass", "wood", "moisture", "held", "balance", "defects", "task", "bit",
		"lowest", "highest", "steps", "chuck-max", "nonsense"}
	values := rapid.OneOf(
		rapid.StringMatching(`[0-9]{1,4}(\.[0-9])?(mm|cm|in|kg|lb|g|oz|rpm|%|)`),
		rapid.SampledFrom([]string{"cherry", "oak", "chuck", "centres", "vacuum", "burl", "true", "void,bark", "drilling", "sanding", "500,800,1200", "", "-1mm", "1e9mm", "NaN"}),
		rapid.StringN(0, 8, -1),
	)
	rapid.Check(t, func(rt *rapid.T) {
		args := []string{"plan", "--json"}
		for range rapid.IntRange(0, 6).Draw(rt, "flags") {
			args = append(args, "--"+rapid.SampledFrom(flags).Draw(rt, "flag")+"="+values.Draw(rt, "value"))
		}
		if rapid.Bool().Draw(rt, "tailstock") {
			args = append(args, "--tailstock")
		}
		var out, msg strings.Builder
		switch code := run(t.Context(), args, nil, &out, &msg); code {
		case 0:
			require.True(rt, json.Valid([]byte(out.String())), out.String())
			require.NotContains(rt, out.String(), ":0,", "an unknown number must be null")
		case 2:
			require.Empty(rt, out.String())
			require.Regexp(rt, `(?s)^vibe: .*\nhint: .*\n$`, msg.String())
		default:
			rt.Fatalf("exit %d: %s", code, &msg)
		}
	})
}
