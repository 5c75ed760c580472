package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/indicate"
	"phasebench/scenarios/measured"
	"phasebench/scenarios/record"
)

// tell writes what came of it.
func (t *indicateFlags) tell(cmd *cobra.Command, e *model.Engine, r *indicated, where *located) error {
	m := newMeta("indicate", t.seed, e)
	m.also(cmd.Flags(), "columns", "rate-hz", "bar-per-volt", "zero-bar", "wheel", "first-deg", "samples", "level-v", "falling", "motored", "separator", "header", "decimal-comma", "peg", "exponent", "tdc-shift-deg", "tdc-error-deg", "low-pass-per-deg", "knock-level-bar")
	title := "recorded, " + place(e)
	for _, x := range []struct {
		file  string
		write func(io.Writer, []string) error
	}{{t.csvFile, r.writeCSV}, {t.trace, r.writeTrace}} {
		if x.file != "" {
			if err := writeFile(x.file, func(w io.Writer) error { return x.write(w, m.notes()) }); err != nil {
				return err
			}
		}
	}
	s := &r.summary
	for _, x := range []struct {
		file string
		draw func() *chart.Chart
	}{
		{t.plot, func() *chart.Chart { return chart.Overlay(&r.ragged, title) }},
		{t.plotPV, func() *chart.Chart { return chart.RecordedPV(r.mean, s.Compression.Value, s.Expansion.Value, title) }},
		{t.plotHeat, func() *chart.Chart { return chart.Released(r.mean, r.traces, s, title) }},
		{t.plotPeaks, func() *chart.Chart { return chart.Peaks(&r.ragged, title) }},
		{t.plotReturn, func() *chart.Chart { return chart.Return(&r.ragged, title) }},
		{t.plotRun, func() *chart.Chart { return chart.Run(r.number, r.imep, r.ragged.LPP, r.broken, title) }},
	} {
		if x.file != "" {
			if err := m.picture(x.file, x.draw()); err != nil {
				return err
			}
		}
	}
	if t.json {
		return writeJSON(cmd.OutOrStdout(), struct {
			record.Indicated
			Unfired int      `json:"unfired_cycles"` // in rows, in no number
			Shift   *float64 `json:"tdc_found_deg"`  // what the pressure says the angles read too much
			Error   *float64 `json:"tdc_found_error_deg"`
			How     string   `json:"tdc_found_how"`
			Meta    meta     `json:"meta"`
		}{record.OfIndicated(s, &r.report), r.motored, record.Number(where.shift.Value, deg), record.Number(where.shift.Error, deg), where.how, m})
	}
	w := cmd.OutOrStdout()
	fmt.Fprint(w, title)
	if !t.motored {
		fmt.Fprintf(w, ", spark %.4g deg before dead centre", e.Point.Spark/deg)
	}
	fmt.Fprintln(w)
	t.printTaken(w, cmd.Flags(), &r.report)
	printRead(w, r, where)
	printSummary(w, r, t.motored)
	for _, text := range r.doubts() {
		fmt.Fprintf(w, "  careful: %s\n", text)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap(record.Caution, 96))
	return nil
}

// printTaken tells what nobody said of where the engine ran.
func (t *indicateFlags) printTaken(w io.Writer, f *pflag.FlagSet, r *measured.Report) {
	var taken []string
	for _, name := range []string{"map-kpa", "lambda", "spark-deg"} {
		if !f.Changed(name) && !(name == "spark-deg" && t.motored) {
			taken = append(taken, "--"+name)
		}
	}
	if math.IsNaN(r.Speed[0]) {
		taken = append(taken, "--speed-rpm")
	}
	if len(taken) > 0 {
		fmt.Fprintf(w, "  not told, so taken from the engine's own point: %s\n", strings.Join(taken, ", "))
	}
}

// What is usual of a recording that was understood. Our own choice, wide of what was
// measured (literature: 1.30 to 1.33 for a motored compression).
const (
	compressionLow, compressionHigh = 1.22, 1.42
	expansionLow, expansionHigh     = 1.1, 1.45
	burnedHigh                      = 1.15
)

// doubts tells what of the numbers no engine does.
func (r *indicated) doubts() (all []string) {
	for _, x := range []struct {
		of           string
		n, low, high float64
	}{{"compression", r.summary.Compression.Value, compressionLow, compressionHigh}, {"expansion", r.summary.Expansion.Value, expansionLow, expansionHigh}} {
		if !(x.n >= x.low && x.n <= x.high) {
			all = append(all, fmt.Sprintf("an exponent of %s of %.3g, %g to %g are usual: are scale, --map-kpa, dead centre and ratio right?", x.of, x.n, x.low, x.high))
		}
	}
	most := 0.
	for _, b := range r.mean.Burned {
		if b > most { // not NaN
			most = b
		}
	}
	if most > burnedHigh {
		all = append(all, fmt.Sprintf("%.0f %% of what the model's charge holds have burned: are scale, --map-kpa, --lambda and engine right?", 100*most))
	}
	return all
}

// printRead tells what was read.
func printRead(w io.Writer, read *indicated, where *located) {
	r := &read.report
	fmt.Fprintf(w, "  %d rows", r.Rows)
	if !math.IsNaN(r.Rate) {
		fmt.Fprintf(w, " at %.6g Hz, %.4g s", r.Rate, r.Duration)
	}
	fmt.Fprintf(w, "; %d whole cycles and %d broken ones; %d burn, %d do not\n", r.Cycles, r.Lost, r.Cycles-read.low, read.low)
	if !math.IsNaN(r.Speed[0]) {
		fmt.Fprintf(w, "  speed %.2f rpm, from %.2f to %.2f\n", r.Speed[0]/rpm, r.Speed[1]/rpm, r.Speed[2]/rpm)
	}
	switch {
	case where.found():
		fmt.Fprintf(w, "  reference %.2f ± %.2f deg after dead centre, %s\n", r.First/deg, where.shift.Error/deg, where.how)
	case math.IsNaN(where.shift.Value):
		fmt.Fprintf(w, "  angles as given; the pressure does not tell dead centre: %s\n", where.how)
	default:
		fmt.Fprintf(w, "  angles as given; the pressure says that they read %+.2f ± %.2f deg too much, %s\n", where.shift.Value/deg, where.shift.Error/deg, where.how)
	}
	if !math.IsNaN(where.worst) {
		fmt.Fprintf(w, "  (an engine that leaks as much as any measured peaks %.1f deg earlier than the model says)\n", where.worst/deg)
	}
	for _, f := range r.Flaws {
		fmt.Fprintf(w, "  wrong: %s: %s\n", plain(f.Where), plain(f.What))
	}
	if n := r.FlawCount - len(r.Flaws); n > 0 {
		fmt.Fprintf(w, "  wrong: and %d more\n", n)
	}
	for _, text := range r.Warnings {
		fmt.Fprintf(w, "  careful: %s\n", text)
	}
}

// printSummary tells the numbers of all cycles.
func printSummary(w io.Writer, r *indicated, motored bool) {
	s := &r.summary
	fmt.Fprintf(w, "\n  %-34s %10s %9s %11s %9s\n", "", "mean", "± random", "systematic", "sd")
	for _, x := range []struct {
		name, unit string
		by         float64
		digits     int
		m          *indicate.Mean
	}{
		{"location of peak pressure", "deg", deg, 2, &s.LPP}, {"peak pressure", "bar", 1e5, 2, &s.Peak}, {"IMEP gross", "bar", 1e5, 3, &s.IMEPGross}, {"IMEP net", "bar", 1e5, 3, &s.IMEPNet}, {"PMEP", "bar", 1e5, 3, &s.PMEP},
		{"CA10, first law", "deg", deg, 2, &s.CA10}, {"CA50, first law", "deg", deg, 2, &s.CA50}, {"CA90, first law", "deg", deg, 2, &s.CA90},
		{"CA10, Rassweiler and Withrow", "deg", deg, 2, &s.RatioCA10}, {"CA50, Rassweiler and Withrow", "deg", deg, 2, &s.RatioCA50}, {"CA90, Rassweiler and Withrow", "deg", deg, 2, &s.RatioCA90},
		{"exponent of compression", "", 1, 3, &s.Compression}, {"exponent of expansion", "", 1, 3, &s.Expansion}, {"heat released", "J", 1, 1, &s.Heat}, {"zero added to the recording", "bar", 1e5, 3, &s.Zero},
	} {
		if motored && x.m.Cycles == 0 {
			continue
		}
		fmt.Fprintf(w, "  %-34s %10s %9s %11s %9s", named(x.name, x.unit), value(x.m.Value/x.by, x.digits), value(x.m.Random/x.by, x.digits), value(x.m.Systematic/x.by, x.digits), value(x.m.SD/x.by, x.digits))
		if x.m.Missing > 0 {
			fmt.Fprintf(w, "  none in %d", x.m.Missing)
		}
		fmt.Fprintln(w)
	}
	if motored {
		return
	}
	fmt.Fprintf(w, "\n  COV of IMEP gross, net %s, %s %%; lowest normalised value %s; with the next cycle's %s\n", value(100*s.COVGross, 2), value(100*s.COVNet, 2), value(s.LNV, 3), value(s.Neighbours, 2))
	var q []string
	for _, v := range s.LPPAt {
		q = append(q, value(v/deg, 1))
	}
	fmt.Fprintf(w, "  LPP in 5, 25, 50, 75, 95 %% of cycles at most %s deg\n", strings.Join(q, ", "))
	fmt.Fprintf(w, "  misfires %d, partial burns %d", s.Misfires, s.Partial)
	if r.motored > 0 {
		fmt.Fprintf(w, "; %d more that nobody fired, in rows of %d or more, are in no number above", r.motored, inRow)
	}
	fmt.Fprintln(w)
	switch {
	case r.deaf != "":
		fmt.Fprintf(w, "  knock not looked for: %s\n", r.deaf)
	case s.Heard > 0:
		fmt.Fprintf(w, "  knock in %.1f %% of cycles (onset %s deg); ringing %s bar in the mean\n", 100*s.Knocking, value(s.Onset.Value/deg, 1), value(s.MAPO.Value/1e5, 2))
	}
}

// value writes a number, or that there is none.
func value(v float64, digits int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "none"
	}
	return text(fmt.Sprintf("%%.%df", digits), &v)
}
