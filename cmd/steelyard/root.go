package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"example.com/steelyard/cmd/steelyard/internal/settings"
	"example.com/steelyard/service"
)

// Exit codes.
const (
	exitOK      = 0
	exitFailure = 1
	exitUsage   = 2
)

const caution = `Steelyard gives general information, not medical advice; local rules and
licensed practice come first. Every recommendation comes with its cautions:
show them wherever you show it.`

// usageError is a mistake in how the program was called.
type usageError struct{ error }

// run is the program. Errors go to stderr, one plain line each.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetIn(stdin)
	root.SetOut(stdout)
	root.SetErr(stderr)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitOK
	}
	for line := range strings.Lines(err.Error()) {
		fmt.Fprintf(stderr, "steelyard: %s\n", strings.TrimSpace(line))
	}
	if errors.As(err, &usageError{}) {
		fmt.Fprintf(stderr, "steelyard: --help tells how it is meant\n")
		return exitUsage
	}
	return exitFailure
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "steelyard",
		Short: "Runs fat-loss phases: keeps the log, finds the trend, recommends the next step",
		Long: `Steelyard keeps a training and nutrition log, finds the trend that the noise
hides, and recommends at each review what to change, with its reasons.

` + caution,
		SilenceErrors: true,
		SilenceUsage:  true,
	}
	group(root, newServe(), newDemo(), newBackfill(), newReplay(), newBench(), newKeys(), newSweep(), newRestored(), newVersion())
	root.CompletionOptions.HiddenDefaultCmd = true
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usageError{err} })
	return root
}

// group makes a command that only holds others: alone it shows its help, and
// an unknown word after it is a mistake.
func group(parent *cobra.Command, children ...*cobra.Command) {
	parent.AddCommand(children...)
	parent.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) > 0 {
			return usageError{fmt.Errorf("unknown command %q", strings.Join(append([]string{cmd.CommandPath()}, args[0]), " "))}
		}
		return nil
	}
	parent.RunE = func(cmd *cobra.Command, _ []string) error { return cmd.Help() }
}

// arguments makes a wrong number of arguments a usageError.
func arguments(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if err := check(cmd, args); err != nil {
			return usageError{err}
		}
		return nil
	}
}

// load fills settings from the environment and warns of variables that mean nothing.
func load(cmd *cobra.Command, set *settings.Set) error {
	for _, name := range settings.Unknown(os.Environ(), settings.Of(&service.Config{}), settings.Of(&clientSettings{})) {
		fmt.Fprintf(cmd.ErrOrStderr(), "steelyard: warning: %s is not a setting of Steelyard\n", name)
	}
	if err := set.Load(os.LookupEnv); err != nil {
		return usageError{err}
	}
	return nil
}

// loadConfig is load for the service's configuration.
func loadConfig(cmd *cobra.Command, set *settings.Set, cfg *service.Config) error {
	if err := load(cmd, set); err != nil {
		return err
	}
	if err := cfg.Validate(); err != nil {
		return usageError{err}
	}
	// Where the data lies shall not depend on the folder that a hint is read in.
	dir, err := filepath.Abs(cfg.DataDir)
	if err != nil {
		return fmt.Errorf("data-dir: %w", err)
	}
	cfg.DataDir = dir
	return nil
}
