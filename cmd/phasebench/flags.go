package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
)

// number is the value of a flag that may be left out: it then reads as "", not
// as a 0 that nobody meant.
type number struct {
	at  *float64
	set bool
}

// optional adds a number that may be left out.
func optional(f *pflag.FlagSet, at *float64, name, about string) {
	f.Var(&number{at: at}, name, about)
}

func (n *number) String() string {
	if !n.set {
		return ""
	}
	return strconv.FormatFloat(*n.at, 'g', -1, 64)
}

func (n *number) Set(s string) error {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return errors.New("must be a number")
	}
	*n.at, n.set = v, true
	return nil
}

func (n *number) Type() string { return "float" }

// apart refuses the same file behind two of the flags names.
func apart(f *pflag.FlagSet, names ...string) error {
	seen := map[string]string{}
	for _, name := range names {
		file := f.Lookup(name).Value.String()
		if file == "" {
			continue
		}
		if first, ok := seen[filepath.Clean(file)]; ok {
			return &model.Problem{Key: keyOf(name), Given: strconv.Quote(file), Want: "another file than --" + first}
		}
		seen[filepath.Clean(file)] = name
	}
	return nil
}

// bad is a *model.Problem about a flag.
func bad(flag string, given any, want string) error {
	text := fmt.Sprint(given)
	if s, ok := given.(string); ok {
		text = strconv.Quote(s)
	}
	return &model.Problem{Key: keyOf(flag), Given: text, Want: want}
}

// behindFlags turns a problem of a setting into one of the flag that gives it,
// by names.
func behindFlags(err error, names map[string]string) error {
	var p *model.Problem
	if errors.As(err, &p) && names[p.Key] != "" {
		return &model.Problem{Key: keyOf(names[p.Key]), Given: p.Given, Want: p.Want}
	}
	return err
}

// checkWorkers checks what the flag workers says; without it there is one for
// each processor.
func checkWorkers(f *pflag.FlagSet, workers *int) error {
	switch {
	case !f.Changed("workers"):
		*workers = min(runtime.GOMAXPROCS(0), mostWorkers)
	case *workers < 1 || *workers > mostWorkers:
		return bad("workers", *workers, fmt.Sprintf("1 to %d", mostWorkers))
	}
	return nil
}

// flagOf is the flag that gives the value of key; keyOf is the way back.
func flagOf(key string) string {
	return strings.ReplaceAll(strings.TrimSuffix(strings.TrimSuffix(key, "_btdc"), "_atdc"), "_", "-")
}

func keyOf(flag string) string { return strings.ReplaceAll(flag, "-", "_") }

// keys finds the keys in a text; a word that also occurs in prose is none.
var keys = regexp.MustCompile(`\b(cutoff|[a-z][a-z0-9]*(_[a-z0-9]+)+)\b`)

// asFlags says p in the flags of cmd, where p is about a bare value.
func asFlags(cmd *cobra.Command, p model.Problem) string {
	name := func(key string) string {
		if f := flagOf(key); cmd.Flags().Lookup(f) != nil {
			return "--" + f
		}
		return key
	}
	if f := cmd.Flags().Lookup(flagOf(p.Key)); f != nil && !f.Changed && p.Given == "0" {
		p.Given = "" // not 0 but missing
	}
	p.Key = name(p.Key)
	p.Want = keys.ReplaceAllStringFunc(p.Want, name)
	return p.Error()
}

// flagError is what a person reads about a flag that cannot be read.
func flagError(cmd *cobra.Command, err error) error {
	if bad := (*pflag.InvalidValueError)(nil); errors.As(err, &bad) {
		return usage(fmt.Errorf("--%s = %q: %w", bad.GetFlag().Name, bad.GetValue(), errors.Unwrap(err)))
	}
	return usage(fmt.Errorf("%w; see %s --help", err, cmd.CommandPath()))
}

// noArgs refuses arguments. Those of a command that has others below it are
// names of commands that do not exist.
func noArgs(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	if !cmd.HasAvailableSubCommands() {
		return usage(fmt.Errorf("argument %q: want only flags after %q", args[0], cmd.CommandPath()))
	}
	var names []string
	for _, sub := range cmd.Commands() {
		if sub.IsAvailableCommand() || sub.Name() == "help" {
			names = append(names, sub.Name())
		}
	}
	return usage(fmt.Errorf("unknown command %q after %q: want one of %s", args[0], cmd.CommandPath(), strings.Join(names, ", ")))
}

// countArgs asks for least to most arguments, which are want.
func countArgs(least, most int, want string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) < least || len(args) > most {
			return usage(fmt.Errorf("%d arguments after %q: want %s", len(args), cmd.CommandPath(), want))
		}
		return nil
	}
}

// flagUsages is the list of flags in a help text.
func flagUsages(f *pflag.FlagSet) string {
	const value = "[=true|false]" // no one needs it, and it widens the column
	return strings.TrimRight(strings.ReplaceAll(f.FlagUsagesWrapped(110), value, strings.Repeat(" ", len(value))), "\n ")
}
