package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
)

// seeing holds the flags of commands that read cycles through instruments.
type seeing struct {
	signal, reader                      string
	signals                             []string // that the command knows
	windowFrom, windowTo, blank, smooth float64
	faults                              []string
}

// trailingIon is the signal of the trailing plug of an engine with two.
const trailingIon = "trailing-ion"

// register adds the flags; usual is the reader where none is named, as help tells it, more
// are signals beside ion and pressure.
func (s *seeing) register(cmd *cobra.Command, name, usual string, more ...string) {
	f := cmd.Flags()
	s.signals = append([]string{"ion", "pressure"}, more...)
	f.StringVar(&s.signal, "signal", "ion", "what is read: "+s.known())
	f.StringVar(&s.reader, "reader", name, "of pressure: "+strings.Join(reader.Names(reader.Pressure), ", ")+"; of ion: "+strings.Join(reader.Names(reader.Ion), ", ")+usual)
	optional(f, &s.windowFrom, "window-from-deg", "the reader's window begins here [deg after dead centre] (default: usual for the signal)")
	optional(f, &s.windowTo, "window-to-deg", "and ends here [deg after dead centre]")
	optional(f, &s.blank, "blank-ms", "the reader does not look for so long from the spark on [ms]")
	optional(f, &s.smooth, "smooth-deg", "width of its filter [deg]")
	f.StringArrayVar(&s.faults, "fault", nil, "a fault as `NAME=SEVERITY[@FROM-TO]`, see traces; many times")
	_ = cmd.RegisterFlagCompletionFunc("signal", cobra.FixedCompletions(s.signals, cobra.ShellCompDirectiveNoFileComp))
	_ = cmd.RegisterFlagCompletionFunc("reader", func(*cobra.Command, []string, string) ([]cobra.Completion, cobra.ShellCompDirective) {
		signal, _ := s.of() // another is told when the command runs
		return reader.Names(signal), cobra.ShellCompDirectiveNoFileComp
	})
}

// known lists the signals.
func (s *seeing) known() string {
	return strings.Join(append([]string{"ion or pressure"}, s.signals[2:]...), ", or ")
}

// of returns the signal.
func (s *seeing) of() (reader.Signal, error) {
	switch {
	case !slices.Contains(s.signals, s.signal):
		return 0, bad("signal", s.signal, s.known())
	case s.signal == "pressure":
		return reader.Pressure, nil
	}
	return reader.Ion, nil
}

// settings puts what the flags say into set, and tells whether they say anything.
func (s *seeing) settings(f *pflag.FlagSet, set *reader.Settings) (any bool) {
	for _, x := range []struct {
		flag  string
		value float64
		at    *float64
	}{{"window-from-deg", s.windowFrom * deg, &set.From}, {"window-to-deg", s.windowTo * deg, &set.To},
		{"blank-ms", s.blank * 1e-3, &set.Blank}, {"smooth-deg", s.smooth * deg, &set.Smooth}} {
		if f.Changed(x.flag) {
			*x.at, any = x.value, true
		}
	}
	return any
}

// broken returns the faults.
func (s *seeing) broken() (all []sensor.Fault, err error) {
	for _, text := range s.faults {
		fault, err := sensor.ParseFault(text)
		if err != nil {
			return nil, err
		}
		all = append(all, fault)
	}
	return all, nil
}
