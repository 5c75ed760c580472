package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"runtime/debug"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"phasebench/model"
)

// Exit codes.
const (
	exitDone        = 0
	exitFailed      = 1
	exitUsage       = 2
	exitInterrupted = 130
)

// errUsage is wrapped by errors about how the command was called.
var errUsage = errors.New("wrong usage")

// run carries out one command line. Data goes to out, talk to errw.
func run(ctx context.Context, args []string, out, errw io.Writer) int {
	root := newRoot()
	root.SetArgs(args)
	root.SetOut(out)
	root.SetErr(errw)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return exitDone
	}
	if errors.Is(err, syscall.EPIPE) {
		return exitFailed // the reader went away: nobody to tell
	}
	fmt.Fprintln(errw, "phasebench:", message(err))
	return exitCode(ctx, err)
}

// message is what a person reads about err. A problem of an operating point
// or of another bare value was given as a flag.
func message(err error) string {
	var p *model.Problem
	if errors.As(err, &p) && !strings.Contains(p.Key, ".") {
		given := *p
		given.Key = "--" + flagOf(p.Key)
		return given.Error()
	}
	return err.Error()
}

func exitCode(ctx context.Context, err error) int {
	var p *model.Problem
	var path *fs.PathError
	switch {
	case ctx.Err() != nil && errors.Is(err, ctx.Err()):
		return exitInterrupted
	case errors.As(err, &path):
		return exitFailed
	case errors.As(err, &p), errors.Is(err, model.ErrFile), errors.Is(err, model.ErrUnknown), errors.Is(err, errUsage):
		return exitUsage
	}
	return exitFailed
}

// usage turns an error about flags or arguments into one about usage.
func usage(err error) error {
	if err == nil {
		return nil
	}
	return fmt.Errorf("%w: %w", errUsage, err)
}

func newRoot() *cobra.Command {
	root := &cobra.Command{
		Use:   "phasebench",
		Short: "an engine bench without an engine: where peak pressure lands, and what torque follows",
		Long: `phasebench computes what one cylinder of a spark-ignition engine does for a given
spark advance: pressure against crank angle, where the peak lands, what torque
follows. Alone it runs a spark sweep of an irrigation pump set's engine.`,
		Args:              usageArgs(cobra.NoArgs),
		SilenceErrors:     true,
		SilenceUsage:      true,
		DisableAutoGenTag: true,
		Version:           version(),
	}
	root.SetVersionTemplate("{{.Name}} {{.Version}}\n")
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usage(err) })
	sweep := newSweep()
	root.AddCommand(newCycle(), sweep, newIdeal(), newEngine(), newManual())
	root.RunE = func(cmd *cobra.Command, _ []string) error { return sweep.RunE(cmd, nil) }
	return root
}

// usageArgs makes a complaint about arguments one about usage.
func usageArgs(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error { return usage(check(cmd, args)) }
}

// version tells the module version or, in a checkout, the commit.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "unknown"
	}
	v, dirty := info.Main.Version, ""
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			v = s.Value[:min(12, len(s.Value))]
		case "vcs.modified":
			if s.Value == "true" {
				dirty = "+changes"
			}
		}
	}
	if v == "" || v == "(devel)" {
		return "devel"
	}
	return v + dirty
}

// flagOf is the flag that gives the value of key.
func flagOf(key string) string {
	return strings.ReplaceAll(strings.TrimSuffix(strings.TrimSuffix(key, "_btdc"), "_atdc"), "_", "-")
}
