package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
	"phasebench/scenarios/sweep"
	"phasebench/scenarios/traces"
	"phasebench/solve"
)

const (
	mostCycles = 100_000_000
	mostPart   = 100_000
	shown      = 1000 // cycles that the summary and the pictures are of, at most
	overlaid   = 100  // of those, in overlays
)

// tracesFlags is what the command traces is told.
type tracesFlags struct {
	common
	cycles, part, samples, workers int
	out                            string
	formats, sensors               []string
	faults, knobs                  []string
	schedule, wheel, shard         string
	rate, knockRate, targetCOV     float64
	atMBT, exact, truth            bool
	resume, join                   bool
	plotReturn, plotIon, plotPeaks string
}

func newTraces() *cobra.Command {
	var t tracesFlags
	cmd := &cobra.Command{
		Use:   "traces",
		Short: "labelled cycles, each different, through instruments and their faults, to disk",
		Long: `Make successive cycles as ragged as a real engine's, let instruments with their
faults look at them, and write what they deliver beside what was true. Without
--out it sums up the first cycles; --plot draws them overlaid, --plot-return IMEP of a
cycle against that of the one before, --plot-ion ion current beside pressure,
--plot-peaks a histogram of LPP.

All data are synthetic. The same seed and part size make the same bytes, whatever
the workers, shards or interruptions.`,
		Example: `  phasebench traces --at-mbt
  phasebench traces --cycles 2000 --out data --format parquet,npz --fault tdc-offset=1@1000-
  phasebench traces --cycles 200 --part-cycles 200 --out stimulus --format wav --adc-rate-hz 96000 --sensor pressure,ion,wheel,cam
  phasebench traces --cycles 100000 --out data --shard 0/4`,
		Args: noArgs,
	}
	f := cmd.Flags()
	t.register(f)
	t.complete(cmd)
	f.Lookup("seed").Usage = "of all draws; at most 2^53"
	f.IntVar(&t.cycles, "cycles", shown, "cycles in all")
	f.IntVar(&t.part, "part-cycles", shown, "cycles in a part: one file of each format; the unit of work")
	f.IntVar(&t.samples, "samples", 720, "samples of a cycle in angle base, a multiple of 8; without it one a degree")
	f.StringVar(&t.out, "out", "", "write the dataset to this `DIR`")
	f.StringSliceVar(&t.formats, "format", []string{"parquet"}, "any of "+strings.Join(dataset.Formats(), ", ")+", apart by commas")
	f.StringSliceVar(&t.sensors, "sensor", []string{"pressure", "ion"}, "any of "+strings.Join(sensorNames, ", ")+", apart by commas")
	f.StringArrayVar(&t.faults, "fault", nil, "a fault as `NAME=SEVERITY[@FROM-TO]`, cycles FROM until before TO; many times. Names: "+faultNames())
	f.StringArrayVar(&t.knobs, "knob", nil, "how far cycles differ, as `NAME=VALUE`, in place of the usual; many times. Names: "+knobNames())
	optional(f, &t.targetCOV, "target-cov-percent", "scale the knobs so that the COV of gross IMEP is this [%]")
	f.StringVar(&t.schedule, "schedule", "", "where the engine runs along the stream: a CSV `FILE` with a column cycle and any of speed_rpm, map_kpa, lambda, spark_deg_btdc; straight lines between its rows")
	f.BoolVar(&t.atMBT, "at-mbt", false, "spark at MBT of the point, in place of --spark-deg")
	f.BoolVar(&t.exact, "exact", false, "solve every cycle directly, in place of interpolating solved ones")
	f.StringVar(&t.wheel, "wheel", "36-1", "tooth wheel, teeth with those missing")
	optional(f, &t.rate, "adc-rate-hz", "sample in time, at this rate (default: at crank angles; 48000 for wav)")
	optional(f, &t.knockRate, "knock-rate-khz", "rate of the knock sensor's ADC (default: 100)")
	f.BoolVar(&t.truth, "true-pressure", false, "also the true pressure, as a channel of its own")
	f.IntVar(&t.workers, "workers", 0, "parts made at once (default: one for each processor)")
	f.BoolVar(&t.resume, "resume", false, "go on where an earlier run of the same command stopped")
	f.StringVar(&t.shard, "shard", "", "make only share `I/N` of the parts, I from 0 (default: from SLURM_ARRAY_TASK_ID, or from JOB_COMPLETION_INDEX and SHARDS)")
	f.BoolVar(&t.join, "join", false, "finish the dataset in --out, once all shards are made")
	f.StringVar(&t.plotReturn, "plot-return", "", "write the return map of IMEP to this `FILE`: .svg, .png or .pdf")
	f.StringVar(&t.plotIon, "plot-ion", "", "write ion current beside pressure to this `FILE`: .svg, .png or .pdf")
	f.StringVar(&t.plotPeaks, "plot-peaks", "", "write a histogram of LPP to this `FILE`: .svg, .png or .pdf")
	_ = cmd.RegisterFlagCompletionFunc("format", cobra.FixedCompletions(dataset.Formats(), cobra.ShellCompDirectiveNoFileComp))
	_ = cmd.RegisterFlagCompletionFunc("sensor", cobra.FixedCompletions(sensorNames, cobra.ShellCompDirectiveNoFileComp))
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return t.run(cmd) }
	return cmd
}

func (t *tracesFlags) run(cmd *cobra.Command) error {
	ctx, f := cmd.Context(), cmd.Flags()
	if t.join {
		return t.finish(ctx, f)
	}
	if err := t.check(f); err != nil {
		return err
	}
	e, err := t.load(f)
	if err != nil {
		return err
	}
	if t.atMBT {
		if err := t.goToMBT(ctx, e); err != nil {
			return err
		}
	}
	b, err := t.bench(ctx, f, e)
	if err != nil {
		return err
	}
	m := newMeta("traces", t.seed, e)
	t.tell(&m, f)
	knobs, err := b.Stream.Knobs()
	if err != nil {
		return err
	}
	if t.out != "" {
		if err := t.write(cmd, b, &m, knobs); err != nil {
			return err
		}
	}
	if t.shard != "" && !t.json && t.plot+t.plotReturn+t.plotIon+t.plotPeaks == "" {
		fmt.Fprintf(cmd.OutOrStdout(), "shard %s of %s made\n", t.shard, plain(t.out))
		return nil
	}
	return t.show(cmd, b, m, &knobs[0])
}

// check checks what needs no engine.
func (t *tracesFlags) check(f *pflag.FlagSet) error {
	const safe = 1 << 53 // whole numbers that a float64 holds
	if err := errors.Join(checkPicture("plot", t.plot), checkPicture("plot-return", t.plotReturn), checkPicture("plot-ion", t.plotIon),
		checkPicture("plot-peaks", t.plotPeaks), apart(f, "plot", "plot-return", "plot-ion", "plot-peaks")); err != nil {
		return err
	}
	for _, n := range []struct {
		flag      string
		value     int
		low, high int
	}{{"cycles", t.cycles, 1, mostCycles}, {"part-cycles", t.part, 1, mostPart}} {
		if n.value < n.low || n.value > n.high {
			return bad(n.flag, n.value, fmt.Sprintf("%d to %d", n.low, n.high))
		}
	}
	if err := checkWorkers(f, &t.workers); err != nil {
		return err
	}
	if t.seed > safe {
		return bad("seed", t.seed, "at most 2^53")
	}
	for _, name := range t.formats {
		if !slices.Contains(dataset.Formats(), name) {
			return bad("format", name, "any of "+strings.Join(dataset.Formats(), ", "))
		}
	}
	for _, name := range t.sensors {
		if !slices.Contains(sensorNames, name) {
			return bad("sensor", name, "any of "+strings.Join(sensorNames, ", "))
		}
	}
	if f.Changed("spark-deg") && t.atMBT {
		return bad("spark-deg", t.spark, "nothing beside --at-mbt")
	}
	if t.plotIon != "" && !slices.Contains(t.sensors, "ion") {
		return bad("plot-ion", t.plotIon, "ion among --sensor")
	}
	for _, name := range []string{"resume", "shard"} {
		if f.Changed(name) && t.out == "" {
			return bad(name, f.Lookup(name).Value.String(), "an --out that it is about")
		}
	}
	return nil
}

// goToMBT moves the point of e to MBT.
func (t *tracesFlags) goToMBT(ctx context.Context, e *model.Engine) error {
	s, err := solve.New(e, nil)
	if err != nil {
		return err
	}
	best, err := sweep.MBT(ctx, s, e.Point)
	if err != nil {
		return err
	}
	e.Point.Spark = best.Operating.Spark
	return nil
}

// bench sets up stream and instruments.
func (t *tracesFlags) bench(ctx context.Context, f *pflag.FlagSet, e *model.Engine) (*traces.Bench, error) {
	setup, err := t.setup(f, e)
	if err != nil {
		return nil, err
	}
	schedule := stream.Steadily(e.Point)
	if t.schedule != "" {
		file, err := os.Open(t.schedule)
		if err != nil {
			return nil, err
		}
		defer file.Close()
		if schedule, err = stream.ReadSchedule(file, t.schedule, e.Point); err != nil {
			return nil, usage(err)
		}
		if err := schedule.Check(e); err != nil {
			return nil, usage(fmt.Errorf("%s: %v", t.schedule, err)) // not wrapped: no flag gave it
		}
	}
	if !f.Changed("samples") {
		ch, err := e.Chamber()
		if err != nil {
			return nil, err
		}
		if err := f.Set("samples", strconv.Itoa(stream.UsualSamples(ch.Strokes()))); err != nil {
			return nil, err
		}
	}
	set := stream.Settings{Seed: t.seed, Samples: t.samples, Exact: t.exact}
	s, err := stream.New(e, schedule, &set)
	if err != nil {
		return nil, err
	}
	if len(t.knobs) > 0 {
		usual, err := s.Knobs()
		if err != nil {
			return nil, err
		}
		set.Knobs = &usual[0]
		for _, text := range t.knobs {
			if err := set.Knobs.Set(text); err != nil {
				return nil, err
			}
		}
		if s, err = stream.New(e, schedule, &set); err != nil {
			return nil, err
		}
	}
	if f.Changed("target-cov-percent") {
		if err := s.Calibrate(ctx, t.targetCOV/100); err != nil {
			return nil, err
		}
	}
	if _, err := sensor.New(e, setup, t.seed); err != nil {
		return nil, behindFlags(err, instrumentFlags)
	}
	return &traces.Bench{Stream: s, Setup: setup, Seed: t.seed, Truth: t.truth}, nil
}

// instrumentFlags are the flags behind settings of instruments.
var instrumentFlags = map[string]string{"sampling.rate_hz": "adc-rate-hz", "knock.rate_khz": "knock-rate-khz",
	"wheel.teeth": "wheel", "wheel.missing": "wheel", "trailing": "sensor"}

var sensorNames = []string{"pressure", "ion", "trailing-ion", "wheel", "cam", "knock"}

// setup fits the instruments.
func (t *tracesFlags) setup(f *pflag.FlagSet, e *model.Engine) (sensor.Setup, error) {
	set := sensor.Usual(e)
	want := func(name string) bool { return slices.Contains(t.sensors, name) }
	if !want("pressure") {
		set.Pressure = nil
	}
	if !want("ion") {
		set.Ion = nil
	}
	if want("trailing-ion") {
		set.Trailing = sensor.UsualIon()
	}
	if want("wheel") {
		set.Wheel = sensor.UsualWheel()
		var rest string
		if n, _ := fmt.Sscanf(t.wheel+" .", "%d-%d %s", &set.Wheel.Teeth, &set.Wheel.Missing, &rest); n != 3 || rest != "." {
			return set, bad("wheel", t.wheel, "N-M such as 36-1 or 60-2")
		}
	} else if set.Wheel = nil; f.Changed("wheel") {
		return set, bad("wheel", t.wheel, "wheel among --sensor")
	}
	set.Cam = want("cam")
	if want("knock") {
		set.Knock = sensor.UsualAccelerometer()
		if f.Changed("knock-rate-khz") {
			set.Knock.Rate = t.knockRate * 1e3
		}
	} else if f.Changed("knock-rate-khz") {
		return set, bad("knock-rate-khz", t.knockRate, "knock among --sensor")
	}
	if slices.Contains(t.formats, "wav") {
		set.Sampling.RateHz = 48000
	}
	if f.Changed("adc-rate-hz") {
		if set.Sampling.RateHz = t.rate; !(t.rate > 0) {
			return set, bad("adc-rate-hz", t.rate, "more than 0")
		}
		if slices.Contains(t.formats, "wav") && t.rate != math.Trunc(t.rate) {
			return set, bad("adc-rate-hz", t.rate, "a whole number for wav")
		}
	}
	for _, text := range t.faults {
		fault, err := sensor.ParseFault(text)
		if err != nil {
			return set, err
		}
		set.Faults = append(set.Faults, fault)
	}
	return set, nil
}

func faultNames() string {
	var all []string
	for _, k := range sensor.Kinds() {
		all = append(all, k.Name)
	}
	return strings.Join(all, ", ")
}

func knobNames() string {
	var all []string
	for _, k := range stream.Table {
		all = append(all, k.Key)
	}
	return strings.Join(all, ", ")
}

// tell records the flags in m.
func (t *tracesFlags) tell(m *meta, f *pflag.FlagSet) {
	m.also(f, "cycles", "part-cycles", "samples", "format", "sensor", "target-cov-percent", "schedule", "exact", "adc-rate-hz", "knock-rate-khz", "true-pressure")
	if slices.Contains(t.sensors, "wheel") {
		m.also(f, "wheel")
	}
	for _, list := range []struct {
		name  string
		texts []string
	}{{"fault", t.faults}, {"knob", t.knobs}} {
		if len(list.texts) > 0 {
			m.Flags[list.name] = strings.Join(list.texts, " ")
			m.keys = append(m.keys, list.name)
		}
	}
}

// write makes the dataset, or a shard of it.
func (t *tracesFlags) write(cmd *cobra.Command, b *traces.Bench, m *meta, knobs []stream.Knobs) error {
	if t.shard == "" {
		var err error
		if t.shard, err = scheduled(os.Getenv); err != nil {
			return err
		}
	}
	p := dataset.Plan{Dir: t.out, Formats: t.formats, Cycles: t.cycles, Part: t.part, Workers: t.workers, Resume: t.resume,
		Card: t.card(b, m, knobs), Rate: b.Setup.Sampling.RateHz}
	if t.shard != "" {
		var err error
		if p.Shard, p.Shards, err = parseShard(t.shard); err != nil {
			return err
		}
	}
	ctx, stop := context.WithCancel(cmd.Context())
	defer stop()
	p.Source = func() (dataset.Source, error) { return b.Source(ctx) }
	step, end := progress(ctx, cmd.ErrOrStderr(), "cycles")
	p.Progress = step
	err := dataset.Write(ctx, &p)
	end()
	return err
}

// card says what a reader of the dataset must know.
func (t *tracesFlags) card(b *traces.Bench, m *meta, knobs []stream.Knobs) dataset.Card {
	e := b.Stream.Engine()
	c := dataset.Card{
		Title:       "Ragged cycles of " + plain(e.Name),
		Description: fmt.Sprintf("%d successive cycles of a simulated engine (%s), each different, as instruments with their faults deliver them, with what was true of each.", t.cycles, place(e)),
		Tool:        m.Tool, Version: m.Version, Seed: t.seed, Caution: record.Caution,
		Licence: licence, Config: m.settings(),
	}
	add := func(key string, v any) {
		if x, ok := v.(float64); ok {
			v = fmt.Sprintf("%.12g", x)
		}
		c.Config = append(c.Config, dataset.Setting{Key: key, Value: plain(fmt.Sprint(v))})
	}
	add("knobs.scale", b.Stream.Scale())
	for i, k := range knobs {
		for _, x := range stream.Table {
			add(fmt.Sprintf("knobs.%d.%s", i, x.Key), *x.At(&k))
		}
	}
	if b.Setup.Sampling.RateHz == 0 {
		if ch, err := e.Chamber(); err == nil { // the stream has one already
			st := ch.Strokes()
			add("samples.first_deg_atdc", st.Start/deg)
			add("samples.step_deg", st.Period()/deg/float64(t.samples))
		}
	}
	return c
}

// share writes a part of the whole as a person reads it.
func share(n, of int) string { return fmt.Sprintf("%d of %d", n, of) }

// show prints the summary of the first cycles and draws the pictures.
func (t *tracesFlags) show(cmd *cobra.Command, b *traces.Bench, m meta, knobs *stream.Knobs) error {
	s, err := b.Summarise(cmd.Context(), min(t.cycles, shown), overlaid)
	if err != nil {
		return err
	}
	e := b.Stream.Engine()
	where := place(e)
	title := fmt.Sprintf("%s, spark %.4g deg before dead centre, %d cycles", where, e.Point.Spark/deg, s.Cycles)
	if t.schedule != "" {
		where = fmt.Sprintf("%s along %s", plain(e.Name), plain(filepath.Base(t.schedule)))
		title = fmt.Sprintf("%s, %d cycles", where, s.Cycles)
	}
	for _, x := range []struct {
		file string
		draw func(*chart.Ragged, string) *chart.Chart
		of   *chart.Ragged
	}{{t.plot, chart.Overlay, &s.Overlaid}, {t.plotReturn, chart.Return, &s.Ragged}, {t.plotIon, chart.IonBeside, &s.Overlaid}, {t.plotPeaks, chart.Peaks, &s.Ragged}} {
		if x.file != "" {
			if err := m.picture(x.file, x.draw(x.of, where)); err != nil {
				return err
			}
		}
	}
	if t.json {
		return writeJSON(cmd.OutOrStdout(), struct {
			*traces.Summary
			Quantities map[string]traces.Quantity `json:"quantities"`
			Out        string                     `json:"out,omitempty"`
			Scale      float64                    `json:"knob_scale"`
			Knobs      map[string]float64         `json:"knobs"`
			Meta       meta                       `json:"meta"`
		}{s, s.Named(), t.out, b.Stream.Scale(), knobs.Map(), m})
	}
	w := cmd.OutOrStdout()
	fmt.Fprintln(w, title)
	t.printSummary(w, s)
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap("Synthetic data. "+record.Caution, 96))
	return nil
}

func (t *tracesFlags) printSummary(w io.Writer, s *traces.Summary) {
	line := func(name, unit, format string, mean, sd, skew, lag *float64) {
		fmt.Fprintf(w, "  %-22s %10s %9s %8s %8s  %s\n", name, text(format, mean), text(format, sd), text("%.2f", skew), text("%.3f", lag), unit)
	}
	fmt.Fprintf(w, "  %-22s %10s %9s %8s %8s\n", "", "mean", "sd", "skew", "lag-1")
	for _, q := range s.Quantities {
		line(q.About, q.Unit, q.Format, q.Mean, q.SD, q.Skew, q.Lag)
	}
	fmt.Fprintf(w, "  COV of IMEP gross      %9s %%\n", percent("%.2f", s.COV, 1))
	fmt.Fprintf(w, "  misfires, partial burns, knocking cycles  %s, %s, %s\n", share(s.Misfires, s.Cycles), share(s.Partial, s.Cycles), share(s.Knocking, s.Cycles))
	if s.MBT != nil {
		fmt.Fprintf(w, "  MBT of the mean cycle  %9s deg before dead centre\n", text("%.1f", s.MBT))
	}
	if t.out != "" {
		fmt.Fprintf(w, "  dataset in %s, made from this command alone\n", plain(t.out))
	}
}

// parseShard reads I/N.
func parseShard(text string) (i, n int, err error) {
	a, b, ok := strings.Cut(text, "/")
	if ok {
		if i, err = strconv.Atoi(a); err == nil {
			n, err = strconv.Atoi(b)
		}
	}
	if !ok || err != nil || n < 1 || i < 0 || i >= n {
		return 0, 0, bad("shard", text, "I/N with whole numbers, I from 0 to N-1")
	}
	return i, n, nil
}

// scheduled returns the shard that a batch system says this is, as I/N; "" for none.
func scheduled(env func(string) string) (string, error) {
	number := func(name string) (int, error) {
		v, err := strconv.Atoi(env(name))
		if err != nil {
			return 0, fmt.Errorf("%w: %s = %q beside an array job: want a whole number", errUsage, name, env(name))
		}
		return v, nil
	}
	switch {
	case env("SLURM_ARRAY_TASK_ID") != "":
		id, err := number("SLURM_ARRAY_TASK_ID")
		if err != nil {
			return "", err
		}
		count, err := number("SLURM_ARRAY_TASK_COUNT")
		if err != nil {
			return "", err
		}
		first := 0
		if env("SLURM_ARRAY_TASK_MIN") != "" {
			if first, err = number("SLURM_ARRAY_TASK_MIN"); err != nil {
				return "", err
			}
		}
		return fmt.Sprintf("%d/%d", id-first, count), nil
	case env("JOB_COMPLETION_INDEX") != "" && env("SHARDS") != "":
		id, err := number("JOB_COMPLETION_INDEX")
		if err != nil {
			return "", err
		}
		count, err := number("SHARDS")
		return fmt.Sprintf("%d/%d", id, count), err
	}
	return "", nil
}

// finish joins the shards.
func (t *tracesFlags) finish(ctx context.Context, f *pflag.FlagSet) error {
	if t.out == "" {
		return bad("join", "true", "an --out that holds the shards")
	}
	var other []string
	f.Visit(func(x *pflag.Flag) {
		if x.Name != "join" && x.Name != "out" {
			other = append(other, "--"+x.Name)
		}
	})
	if len(other) > 0 {
		return bad("join", "true", "nothing beside --out, not "+strings.Join(other, ", "))
	}
	return dataset.Join(ctx, t.out)
}
