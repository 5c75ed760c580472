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
	data := &sink{w: out}
	root := newRoot(data, errw)
	root.SetArgs(args)
	cmd, err := root.ExecuteContextC(ctx)
	if err == nil && data.err != nil {
		err = fmt.Errorf("cannot write the results: %w", data.err)
	}
	if err == nil {
		return exitDone
	}
	code := exitCode(ctx, err)
	switch {
	case errors.Is(data.err, syscall.EPIPE): // the reader went away: nobody to tell
	case code == exitInterrupted:
		fmt.Fprintln(errw, "phasebench: interrupted")
	default:
		fmt.Fprintln(errw, "phasebench:", message(cmd, err))
	}
	return code
}

// sink remembers the first error of writing to w and stops there.
type sink struct {
	w   io.Writer
	err error
}

func (s *sink) Write(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.w.Write(p)
	s.err = err
	return n, err
}

// message is what a person reads about err. A problem of an operating point
// or of another bare value was given as a flag.
func message(cmd *cobra.Command, err error) string {
	var p *model.Problem
	if errors.As(err, &p) && !strings.Contains(p.Key, ".") {
		return asFlags(cmd, *p)
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

func newRoot(out, errw io.Writer) *cobra.Command {
	root := &cobra.Command{
		Use:   "phasebench",
		Short: "an engine bench without an engine: where peak pressure lands, and what torque follows",
		Long: `phasebench computes what one cylinder of a spark-ignition engine does for a given
spark advance: pressure against crank angle, where the peak lands, what torque
follows. Alone it runs a spark sweep of an irrigation pump set's engine.`,
		Args:              noArgs,
		SilenceErrors:     true,
		SilenceUsage:      true,
		DisableAutoGenTag: true,
		Version:           version(),
	}
	root.SetVersionTemplate("{{.Name}} {{.Version}}\n")
	root.SetFlagErrorFunc(flagError)
	root.SetOut(out)
	root.SetErr(errw)
	for _, list := range []string{"LocalFlags", "InheritedFlags"} {
		root.SetUsageTemplate(strings.ReplaceAll(root.UsageTemplate(),
			"."+list+".FlagUsages | trimTrailingWhitespaces", "flagUsages ."+list))
	}
	sweep := newSweep()
	root.AddCommand(newCycle(), sweep, newMap(), newTraces(), newTrust(), newIndicate(), newFit(), newLoop(), newPage(), newIdeal(), newEngine(), newManual())
	root.RunE = func(cmd *cobra.Command, _ []string) error { return sweep.RunE(cmd, nil) }
	tame(root)
	return root
}

func init() { cobra.AddTemplateFunc("flagUsages", flagUsages) }

// tame makes the commands that cobra adds refuse what they do not know.
func tame(root *cobra.Command) {
	root.InitDefaultHelpCmd()
	root.InitDefaultCompletionCmd()
	for _, cmd := range root.Commands() {
		switch cmd.Name() {
		case "help":
			cmd.Short, cmd.Long = "help about a command", ""
			cmd.Args = func(cmd *cobra.Command, args []string) error {
				found, rest, err := root.Find(args)
				if err != nil {
					return usage(err)
				}
				if len(rest) > 0 && !found.HasAvailableSubCommands() {
					return usage(fmt.Errorf("help about %q: no such command after %q", rest[0], found.CommandPath()))
				}
				return noArgs(found, rest)
			}
		case "completion":
			cmd.Short = "print a script by which a shell completes commands and flags"
			cmd.Long = ""
			cmd.Args = noArgs
			cmd.RunE = func(cmd *cobra.Command, _ []string) error { return cmd.Help() }
			for _, shell := range cmd.Commands() {
				shell.Short = "for " + shell.Name()
				shell.Args = noArgs
			}
		}
	}
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
