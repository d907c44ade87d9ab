package main

import (
	"fmt"
	"runtime/debug"

	"github.com/spf13/cobra"
)

// version is set by a release build: -ldflags "-X main.version=v1.2.3".
var version string

func newVersion() *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Prints the version",
		Args:  arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			info, ok := debug.ReadBuildInfo()
			if !ok {
				info = &debug.BuildInfo{}
			}
			_, err := fmt.Fprintln(cmd.OutOrStdout(), versionLine(version, info))
			return err
		},
	}
}

// versionLine tells the release, or what the build knows of its source.
func versionLine(release string, info *debug.BuildInfo) string {
	setting := map[string]string{}
	for _, s := range info.Settings {
		setting[s.Key] = s.Value
	}
	if release == "" {
		release = info.Main.Version
	}
	if release == "" {
		release = "(devel)"
	}
	line := "steelyard " + release
	if r := setting["vcs.revision"]; r != "" {
		line += " revision " + r[:min(len(r), 12)]
		if setting["vcs.modified"] == "true" {
			line += " with local changes"
		}
	}
	if info.GoVersion != "" {
		line += " " + info.GoVersion
	}
	return line
}
