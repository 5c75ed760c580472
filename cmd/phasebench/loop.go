package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/scenarios/control"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/loop"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
)

// loopFlags is what the command loop is told.
type loopFlags struct {
	common
	seeing
	scenario                                   string
	cycles, seeds, workers, over               int
	target                                     float64
	law, mode, knockLaw, average               string
	numbers, knockNumbers, guardNumbers, hands []string
	guard, envelope, pressure, knock           bool
	program, tcp, framing, sees                string
	limit                                      float64
	suite                                      bool
	compare                                    []string
	csv, out, report, replay, replayOut, write string
	formats                                    []string
}

func newLoop() *cobra.Command {
	var l loopFlags
	cmd := &cobra.Command{
		Use:   "loop",
		Short: "run a controller in closed loop against the engine, and judge it",
		Long: `Run a controller in closed loop against the simulated engine, cycle by cycle, through
the simulated instruments: a law moves the spark by what a reader makes of each cycle,
and a guard stands between the law and the coil. The verdict tells how soon it settled,
how the spark scattered, what torque was lost against the same cycles fired at MBT, and
whether it ever followed a false reading.

The law is built in (--law), or any program of yours (--program, --tcp): see README.
--scenario reads a TOML file; flags then override the controller in it. --write-scenario
writes the file that a command line stands for. --suite runs the whole battery, steps,
drifts, far starts, idle, a hand at the distributor and every fault; --compare ranks
several laws on the same random cycles.

Exit code 1: a run ran away, went over a ceiling, was driven out of where the reader can
be believed, or lost its outside law.`,
		Example: `  phasebench loop
  phasebench loop --map-kpa 60 --hand 200=10 --hand 400=0 --plot loop.svg
  phasebench loop --scenario testdata/scenarios/poor-fuel.toml --report report.html
  phasebench loop --program "python3 testdata/controllers/integral.py" --program-limit-ms 2000 --cycles 300
  phasebench loop --suite --law scheduled-target
  phasebench loop --compare integral,fixed-step,adaptive --seeds 5`,
		Args: noArgs,
	}
	f := cmd.Flags()
	l.common.register(f)
	l.complete(cmd)
	l.seeing.register(cmd, "", " (default: tracker, smoothed for pressure)")
	f.Lookup("seed").Usage = "of all draws"
	f.Lookup("spark-deg").Usage = "where the loop begins [deg before dead centre] (default: 10 deg behind the engine's own point)"
	f.StringVar(&l.scenario, "scenario", "", "read the scenario from this TOML `FILE`")
	f.StringVar(&l.write, "write-scenario", "", "write the scenario to this TOML `FILE`")
	f.IntVar(&l.cycles, "cycles", 600, "cycles of the run")
	optional(f, &l.target, "target-deg", "LPP that is asked for [deg after dead centre] (default: 15)")
	f.StringVar(&l.law, "law", "integral", "one of "+strings.Join(control.Names(), ", "))
	f.StringArrayVar(&l.numbers, "set", nil, "a number of the law as `KEY=VALUE`, such as gain=0.05; many times")
	f.StringVar(&l.mode, "mode", "free", "what the law may do: free, retard-only, advise-only")
	f.StringVar(&l.knockLaw, "knock-law", "none", "a law that limits it where the engine knocks")
	f.StringArrayVar(&l.knockNumbers, "knock-set", nil, "a number of that law as `KEY=VALUE`; many times")
	f.StringVar(&l.average, "average", "none", "the law goes by one number of the last readings: none, "+strings.Join(reader.CombinerNames(), ", "))
	f.IntVar(&l.over, "over-cycles", 20, "cycles averaged")
	f.BoolVar(&l.pressure, "pressure", false, "a pressure transducer is fitted besides the ion sensor")
	f.BoolVar(&l.knock, "knock-sensor", false, "a knock sensor is fitted; it is with --knock-law")
	f.StringArrayVar(&l.hands, "hand", nil, "a hand at the distributor, as `CYCLE=DEG`: from that cycle on both plugs fire so much earlier than ordered; many times")
	f.BoolVar(&l.guard, "guard", true, "a guard stands between law and coil")
	f.BoolVar(&l.envelope, "envelope", true, "it keeps the spark where the reader can be believed, as trust finds it")
	f.StringArrayVar(&l.guardNumbers, "guard-set", nil, "a number of the guard as `KEY=VALUE`; many times. Keys: "+guardKeys())
	f.StringVar(&l.program, "program", "", "a `COMMAND` that is the law")
	f.StringVar(&l.tcp, "tcp", "", "`ADDRESS` of a program on this machine that is the law, such as 127.0.0.1:4000")
	f.StringVar(&l.framing, "framing", "json", "what is spoken with it: json or binary")
	f.StringVar(&l.sees, "sees", "reading", "what it gets: reading or samples; never the truth")
	f.Float64Var(&l.limit, "program-limit-ms", 100, "time that it has for one cycle [ms]")
	f.IntVar(&l.seeds, "seeds", 1, "runs with so many seeds, from --seed on; with --compare 3 or more tell chance apart")
	f.BoolVar(&l.suite, "suite", false, "run the whole battery")
	f.StringSliceVar(&l.compare, "compare", nil, "rank these laws over the battery, apart by commas")
	f.IntVar(&l.workers, "workers", 0, "runs at once; the result is the same (default: one for each processor)")
	f.StringVar(&l.csv, "csv", "", "write the log of the run to this `FILE`")
	f.StringVar(&l.out, "out", "", "write the log of the run to this `DIR`, as a dataset")
	f.StringSliceVar(&l.formats, "format", []string{"parquet"}, "of datasets: any of "+strings.Join(dataset.Formats(), ", ")+", apart by commas")
	f.StringVar(&l.report, "report", "", "write a page about the run to this `FILE`.html, which needs nothing but itself")
	f.StringVar(&l.replay, "replay", "", "cycles `FROM-TO` of the run that --replay-out is about, TO included")
	f.StringVar(&l.replayOut, "replay-out", "", "write labelled traces of those cycles, as the controller saw them, to this `DIR`")
	_ = cmd.RegisterFlagCompletionFunc("law", cobra.FixedCompletions(control.Names(), cobra.ShellCompDirectiveNoFileComp))
	_ = cmd.RegisterFlagCompletionFunc("compare", cobra.FixedCompletions(control.Names(), cobra.ShellCompDirectiveNoFileComp))
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return l.run(cmd) }
	return cmd
}

func guardKeys() string {
	var all []string
	for _, n := range control.GuardNumbers {
		all = append(all, n.Key)
	}
	return strings.Join(all, ", ")
}

// errJudged is a controller that did not pass; everything about it has been said.
var errJudged = errors.New("the controller did not pass")

func (l *loopFlags) run(cmd *cobra.Command) error {
	f := cmd.Flags()
	if err := l.check(f); err != nil {
		return err
	}
	s, err := l.build(f)
	if err != nil {
		return behindFlags(err, loopKeys)
	}
	if err := s.Check(); err != nil {
		return behindFlags(err, loopKeys)
	}
	if l.write != "" {
		if err := writeFile(l.write, func(w io.Writer) error { return loop.WriteNamed(w, s, l.engineName(s)) }); err != nil {
			return err
		}
	}
	switch {
	case len(l.compare) > 0:
		return l.rank(cmd, s)
	case l.suite:
		return l.battery(cmd, s, loop.Battery(s))
	case l.seeds > 1:
		return l.battery(cmd, s, []loop.Scenario{*s})
	}
	return l.once(cmd, s)
}

// check checks what needs no engine.
func (l *loopFlags) check(f *pflag.FlagSet) error {
	if err := errors.Join(checkPicture("plot", l.plot), apart(f, "plot", "csv", "report", "write-scenario"), checkWorkers(f, &l.workers)); err != nil {
		return err
	}
	if l.seeds < 1 || l.seeds > 10000 {
		return bad("seeds", l.seeds, "1 to 10000")
	}
	for _, name := range l.formats {
		if name == "wav" || !slices.Contains(dataset.Formats(), name) {
			return bad("format", name, "any of "+strings.Join(slices.DeleteFunc(dataset.Formats(), func(s string) bool { return s == "wav" }), ", "))
		}
	}
	many := l.suite || len(l.compare) > 0 || l.seeds > 1
	for _, name := range []string{"plot", "csv", "out", "report", "replay-out"} {
		if many && f.Lookup(name).Value.String() != "" {
			return bad(name, f.Lookup(name).Value.String(), "one run that it is about, without --suite, --compare or --seeds")
		}
	}
	switch {
	case l.suite && len(l.compare) > 0:
		return bad("suite", true, "nothing beside --compare, which runs it")
	case (l.replay == "") != (l.replayOut == ""):
		return bad("replay", l.replay, "--replay and --replay-out together")
	case l.program != "" && l.tcp != "":
		return bad("tcp", l.tcp, "nothing beside --program")
	case l.framing != "json" && l.framing != "binary":
		return bad("framing", l.framing, "json or binary")
	case l.sees != "reading" && l.sees != "samples":
		return bad("sees", l.sees, "reading or samples")
	case !(l.limit >= 1 && l.limit <= 60000):
		return bad("program-limit-ms", l.limit, "1 to 60000")
	}
	outside := l.program != "" || l.tcp != ""
	for _, name := range []string{"framing", "sees", "program-limit-ms"} {
		if f.Changed(name) && !outside && l.scenario == "" {
			return bad(name, f.Lookup(name).Value.String(), "a --program or --tcp that it is about")
		}
	}
	if outside && (f.Changed("law") || f.Changed("set") || len(l.compare) > 0) {
		return bad("law", l.law, "nothing beside --program or --tcp")
	}
	if l.scenario != "" {
		for _, name := range []string{"engine", "speed-rpm", "map-kpa", "lambda", "spark-deg", "trailing-split-deg", "hand"} {
			if f.Changed(name) {
				return bad(name, f.Lookup(name).Value.String(), "nothing beside --scenario, which says where the engine runs")
			}
		}
	}
	return nil
}

// loopKeys are the flags behind settings of scenarios.
var loopKeys = map[string]string{"reader.from_deg": "window-from-deg", "reader.to_deg": "window-to-deg", "reader.blank_ms": "blank-ms",
	"reader.smooth_deg": "smooth-deg", "reader.over_cycles": "over-cycles", "reader.pressure": "pressure", "reader.knock": "knock-sensor",
	"law.mode": "mode", "law.limit_ms": "program-limit-ms", "law.program": "program", "combiner": "average", "at[0].target_deg_atdc": "target-deg", "cycles": "cycles"}

// build makes the scenario of the flags.
func (l *loopFlags) build(f *pflag.FlagSet) (*loop.Scenario, error) {
	s := &loop.Scenario{}
	if l.scenario != "" {
		var err error
		if s, err = loop.Load(l.scenario); err != nil {
			var gone *os.PathError
			if errors.As(err, &gone) {
				return nil, err
			}
			return nil, usage(errors.New(err.Error())) // no flag gave what is wrong
		}
	} else {
		e, err := l.load(f)
		if err != nil {
			return nil, err
		}
		*s = loop.Usual(e)
		if s.Engine, err = loadEngine(l.engine); err != nil { // as it is: legs say where it runs
			return nil, err
		}
		s.Name = "from the command line"
		if f.Changed("spark-deg") {
			s.Legs[0].Operating.Spark = e.Point.Spark
		}
		if err := l.hand(s); err != nil {
			return nil, err
		}
	}
	if f.Changed("cycles") {
		s.Cycles = l.cycles
	}
	if f.Changed("target-deg") {
		for i := range s.Legs {
			s.Legs[i].Target = l.target * deg
		}
	}
	for _, build := range []func(*pflag.FlagSet, *loop.Scenario) error{l.senses, l.lawOf, l.guardOf} {
		if err := build(f, s); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// hand adds legs in which a hand turns the distributor.
func (l *loopFlags) hand(s *loop.Scenario) error {
	for _, text := range l.hands {
		at, by, ok := strings.Cut(text, "=")
		cycle, err := strconv.Atoi(at)
		turn, err2 := strconv.ParseFloat(by, 64)
		if !ok || err != nil || err2 != nil || cycle < 0 {
			return bad("hand", text, "CYCLE=DEG such as 200=10")
		}
		if cycle == 0 {
			s.Legs[0].Manual = turn * deg
			continue
		}
		leg := s.Legs[0]
		leg.Cycle, leg.Manual = cycle, turn*deg
		s.Legs = append(s.Legs, leg)
	}
	slices.SortStableFunc(s.Legs, func(a, b loop.Leg) int { return a.Cycle - b.Cycle })
	for i := range s.Legs[1:] {
		if s.Legs[i+1].Cycle == s.Legs[i].Cycle {
			return bad("hand", fmt.Sprint(s.Legs[i].Cycle), "one offset for a cycle")
		}
	}
	return nil
}

// senses fits the instruments and the reader.
func (l *loopFlags) senses(f *pflag.FlagSet, s *loop.Scenario) error {
	set := &s.Sensing
	if f.Changed("signal") {
		var err error
		if set.Signal, err = l.of(); err != nil {
			return err
		}
		set.Reader, set.Settings = loop.UsualReader(set.Signal), nil
	}
	if f.Changed("reader") {
		set.Reader = l.reader
	}
	if f.Changed("average") {
		if set.Average = l.average; l.average == "none" {
			set.Average = ""
		}
	}
	if f.Changed("over-cycles") {
		set.Over = l.over
	}
	usual := reader.UsualFor(set.Signal, s.Engine)
	if set.Settings != nil {
		*usual = *set.Settings
	}
	if l.settings(f, usual) {
		set.Settings = usual
	}
	set.Pressure = set.Pressure || l.pressure
	set.Knock = set.Knock || l.knock || f.Changed("knock-law") && l.knockLaw != "none"
	faults, err := l.broken()
	if err != nil {
		return err
	}
	set.Faults = append(set.Faults, faults...)
	if _, err := reader.New(set.Reader, set.Signal, s.Engine, set.Settings); err != nil {
		return err
	}
	_, err = sensor.New(s.Engine, s.Setup(), 0)
	return err
}

// lawOf sets the law.
func (l *loopFlags) lawOf(f *pflag.FlagSet, s *loop.Scenario) error {
	law := &s.Law
	var err error
	switch {
	case l.program != "" || l.tcp != "":
		*law = loop.Law{Name: loop.Outside, Program: strings.Fields(l.program), Address: l.tcp, Mode: law.Mode, Knock: law.Knock, KnockOf: law.KnockOf}
	case f.Changed("law"):
		law.Name, law.Numbers = l.law, nil
	}
	if law.Name == loop.Outside {
		if f.Changed("framing") {
			law.Binary = l.framing == "binary"
		}
		if f.Changed("sees") {
			law.Samples = l.sees == "samples"
		}
		if f.Changed("program-limit-ms") || law.Limit == 0 {
			law.Limit = time.Duration(l.limit * float64(time.Millisecond))
		}
	}
	if law.Numbers, err = numbersOf("set", l.numbers, law.Numbers); err != nil {
		return err
	}
	if f.Changed("mode") {
		law.Mode = loop.Mode(l.mode)
	}
	if f.Changed("knock-law") {
		if law.Knock, law.KnockOf = l.knockLaw, nil; l.knockLaw == "none" {
			law.Knock = ""
		}
	}
	if law.KnockOf, err = numbersOf("knock-set", l.knockNumbers, law.KnockOf); err != nil {
		return err
	}
	if kind, err := control.KindOf(law.Name); err == nil && !f.Changed("pressure") && slices.Contains(kind.Needs, control.NeedPressure) {
		s.Sensing.Pressure = true // a law brings what it needs
	}
	return nil
}

// guardOf sets the guard.
func (l *loopFlags) guardOf(f *pflag.FlagSet, s *loop.Scenario) error {
	g := &s.Guard
	if f.Changed("guard") {
		g.Off = !l.guard
	}
	if f.Changed("envelope") {
		g.Envelope = l.envelope
	}
	var err error
	g.Numbers, err = numbersOf("guard-set", l.guardNumbers, g.Numbers)
	return err
}

// numbersOf returns have with texts KEY=VALUE of flag put in.
func numbersOf(flag string, texts []string, have map[string]float64) (map[string]float64, error) {
	all := map[string]float64{}
	for k, v := range have {
		all[k] = v
	}
	for _, text := range texts {
		key, value, ok := strings.Cut(text, "=")
		v, err := strconv.ParseFloat(value, 64)
		if !ok || err != nil {
			return nil, bad(flag, text, "KEY=VALUE with a number")
		}
		all[key] = v
	}
	if len(all) == 0 {
		return nil, nil
	}
	return all, nil
}

// engineName is how a file may name the engine of s: as the command line does, or
// by the name of an embedded one.
func (l *loopFlags) engineName(s *loop.Scenario) string {
	if l.scenario == "" {
		return l.engine
	}
	return s.Engine.Name
}

// placeOf describes where s begins, for titles.
func placeOf(s *loop.Scenario) string {
	e := *s.Engine
	e.Point = s.Legs[0].Operating
	return place(&e)
}
