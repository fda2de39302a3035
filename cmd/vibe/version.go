package main

import (
	"cmp"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version is that of this program, as the Go tool stamped it; "" where it did not.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return ""
	}
	v := info.Main.Version
	for _, s := range info.Settings {
		if s.Key == "vcs.revision" && (v == "" || v == "(devel)") {
			v = s.Value
		}
	}
	return v
}

// versionLine is what vibe version says.
func versionLine() string {
	return fmt.Sprintf("vibe %s (%s, %s/%s)\n", cmp.Or(version(), "of unknown version"), runtime.Version(), runtime.GOOS, runtime.GOARCH)
}

func newVersion() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "which vibe this is, to name when something is wrong with it",
		Args:  takes(),
		RunE: func(cmd *cobra.Command, _ []string) error {
			_, err := fmt.Fprint(cmd.OutOrStdout(), versionLine())
			return err
		},
	}
}
