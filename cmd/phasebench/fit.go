package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/fit"
	"phasebench/scenarios/measured"
	"phasebench/scenarios/record"
	"phasebench/scenarios/report"
	"phasebench/scenarios/stream"
)

// fitFlags is what the command fit is told.
type fitFlags struct {
	common
	recording
	out, report, plotBurns, plotProfile string
	starts, most                        int
	noKnobs                             bool
}

func newFit() *cobra.Command {
	var t fitFlags
	cmd := &cobra.Command{
		Use:   "fit FILE",
		Short: "an engine file from recorded pressure",
		Long: `Read a recording as indicate does and move the engine until its model lies on it: dead
centre, compression ratio, wall heat, charge and burn angles, each with its error
from the scatter of the cycles, and with what it is hard to tell apart from. Then
find the knobs with which traces imitates how its cycles differ.

Start from the engine file that is nearest: what is not fitted is taken as true,
and no error counts what the model lacks; look at what is left (--plot, --report).
Some motored cycles in the recording tell dead centre, ratio and wall heat best.
--out writes the engine file, with what was found as comments at its head.`,
		Example: `  phasebench fit recording.csv --columns pressure_v,wheel --rate-hz 100000 --bar-per-volt 10 --wheel 60+1 --out mine.toml
  phasebench fit data/samples-00000.csv --speed-rpm 2200 --report fit.html`,
		Args: oneFile,
	}
	f := cmd.Flags()
	t.common.register(f)
	t.complete(cmd)
	t.recording.register(cmd)
	f.Lookup("seed").Usage = "of the cycles that imitate the recording"
	f.Lookup("speed-rpm").Usage = "shaft speed where the recording does not tell it [rpm]"
	f.Lookup("plot").Usage = "write recorded and fitted pressure to this `FILE`: .svg, .png or .pdf"
	f.StringVar(&t.out, "out", "", "write the engine to this `FILE`.toml")
	f.StringVar(&t.report, "report", "", "write a page of HTML about the fit to this `FILE`")
	f.StringVar(&t.plotBurns, "plot-burns", "", "write burn angles of recorded and imitated cycles to this `FILE`: .svg, .png or .pdf")
	f.StringVar(&t.plotProfile, "plot-profile", "", "write the profile of the compression ratio to this `FILE`: .svg, .png or .pdf")
	f.IntVar(&t.starts, "starts", 4, "places to start from, 1 to 4")
	f.IntVar(&t.most, "cycles", 1000, "use so many cycles at most, the first")
	f.BoolVar(&t.noKnobs, "no-knobs", false, "do not look for the knobs of traces")
	cmd.RunE = func(cmd *cobra.Command, args []string) error { return t.run(cmd, args[0]) }
	return cmd
}

// oneFile wants one argument.
func oneFile(cmd *cobra.Command, args []string) error {
	if len(args) != 1 {
		return usage(fmt.Errorf("%s: %d arguments given, want one: the FILE of a recording, or - for standard input", cmd.CommandPath(), len(args)))
	}
	return nil
}

func (t *fitFlags) run(cmd *cobra.Command, file string) error {
	f := cmd.Flags()
	if err := errors.Join(checkPicture("plot", t.plot), checkPicture("plot-burns", t.plotBurns), checkPicture("plot-profile", t.plotProfile),
		apart(f, "out", "report", "plot", "plot-burns", "plot-profile")); err != nil {
		return err
	}
	switch {
	case !(t.most >= 2 && t.most <= 5000):
		return bad("cycles", t.most, "2 to 5000")
	case !(t.starts >= 1 && t.starts <= 4):
		return bad("starts", t.starts, "1 to 4")
	case t.out != "" && !strings.HasSuffix(t.out, ".toml"):
		return bad("out", t.out, "a name that ends in .toml")
	case t.noKnobs && t.plotBurns != "":
		return bad("plot-burns", t.plotBurns, "no --no-knobs: the picture is of the imitation")
	case t.motored:
		return bad("motored", "true", "a recording with fired cycles: a fit is of how the engine burns, too")
	}
	e, err := t.load(f)
	if err != nil {
		return err
	}
	from, err := t.open(cmd, file, e)
	if err != nil {
		return err
	}
	defer from.close()
	d := &fit.Data{}
	to := func(rows *[][]float64) func(p []float64) error {
		return func(p []float64) error { *rows = append(*rows, p); return nil }
	}
	part := parted[[]float64]{fired: to(&d.Fired), motored: to(&d.Motored), misfire: func([]float64) error { d.Misfires++; return nil }}
	count := 0
	found, err := from.cycles(cmd.Context(), func(c *measured.Cycle) error {
		if c.Broken != "" || count >= t.most {
			return nil
		}
		count++
		d.Theta = c.Theta
		return part.add(slices.Clone(c.Pressure), from.low(c))
	})
	if err == nil {
		err = part.end()
	}
	if err != nil {
		return err
	}
	r, err := fit.Fit(cmd.Context(), e, d, &fit.Settings{Starts: t.starts, Profile: t.report != "" || t.plotProfile != "", Imitate: !t.noKnobs, Seed: t.seed})
	if err != nil {
		return behindFlags(err, map[string]string{"samples": "samples", "cycles": "cycles", "starts": "starts"})
	}
	return t.tell(cmd, e, d, r, &found, from.located)
}

// tell writes what came of it.
func (t *fitFlags) tell(cmd *cobra.Command, e *model.Engine, d *fit.Data, r *fit.Result, found *measured.Report, where *located) error {
	me := newMeta("fit", t.seed, e)
	me.also(cmd.Flags(), "columns", "rate-hz", "bar-per-volt", "zero-bar", "wheel", "first-deg", "samples", "starts", "cycles")
	title := "fit of " + place(e)
	text := fittedFile(r, me, d)
	if t.out != "" {
		if err := writeFile(t.out, func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
			return err
		}
	}
	for _, x := range []struct {
		file string
		draw func() *chart.Chart
	}{
		{t.plot, func() *chart.Chart { return chart.Fitted(r, title) }},
		{t.plotBurns, func() *chart.Chart { return chart.Burns(r.Imitation, title) }},
		{t.plotProfile, func() *chart.Chart { return chart.Profiled(r, 1, title) }},
	} {
		if x.file != "" {
			if err := me.picture(x.file, x.draw()); err != nil {
				return err
			}
		}
	}
	if t.report != "" {
		page := fitPage(r, me, d, title, string(text))
		if err := writeFile(t.report, func(w io.Writer) error { return report.Write(w, page) }); err != nil {
			return err
		}
	}
	if t.json {
		return writeJSON(cmd.OutOrStdout(), struct {
			record.Fit
			Meta meta `json:"meta"`
		}{record.OfFit(r, d), me})
	}
	w := cmd.OutOrStdout()
	fmt.Fprintln(w, title)
	fmt.Fprintf(w, "%d fired and %d motored cycles, %d misfires, %d broken; dead centre first %s\n\n", len(d.Fired), len(d.Motored), d.Misfires, found.Lost, where.how)
	printFit(w, r)
	if first := found.First; !math.IsNaN(first) && found.FirstHow == "given" {
		at := math.Remainder(first-r.Parameters[fit.Shift].Value, 2*math.Pi)
		fmt.Fprintf(w, "\n  the reference of the wheel: --first-deg %.2f, ± %.2f\n", at/deg, r.Parameters[fit.Shift].Error/deg)
	}
	if len(d.Motored) == 0 {
		fmt.Fprintln(w, "\nNo motored cycles: dead centre, ratio and wall heat are told from fired ones alone.")
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap(record.Caution, 96))
	return nil
}

// lacking says that a model does not lie on a recording.
func lacking(r *fit.Result) string {
	if r.Misfit > 2 {
		return ": the model lacks something, and the errors are too small"
	}
	return ""
}

// unsure says what speaks against a parameter.
func unsure(p *fit.Parameter) string {
	switch {
	case p.AtBound:
		return "at its bound: not told, or another engine"
	case p.Error > 0.2*math.Abs(p.Value) && p.Unit == "":
		return "hardly told"
	}
	return ""
}

// named is a name with its unit, if it has one.
func named(name, unit string) string {
	if unit == "" {
		return name
	}
	return name + " [" + unit + "]"
}

// printFit lists parameters and knobs.
func printFit(w io.Writer, r *fit.Result) {
	fmt.Fprintf(w, "  %-30s %10s %10s %9s  %-21s %s\n", "", "given", "found", "± error", "95 % interval", "goes with")
	for i := range r.Parameters {
		p := &r.Parameters[i]
		fmt.Fprintf(w, "  %-30s %10.4g %10.4f %9.4f  %9.4f .. %8.4f %s %s\n", named(p.Name, p.Unit), p.Start/p.By, p.Value/p.By, p.Error/p.By,
			p.Interval[0]/p.By, p.Interval[1]/p.By, p.Correlated, unsure(p))
	}
	fmt.Fprintf(w, "\n  charge %.1f ± %.1f mg, which heating of %.1f K on its way in makes%s; left %.3f bar rms,\n  %.1f times what the scatter of the cycles explains%s\n", r.ChargeMass.Value*1e6, r.ChargeMass.Error*1e6, r.Heating,
		map[bool]string{true: " nearly (the end of its range)"}[r.HeatingOut], r.RMS/1e5, r.Misfit, lacking(r))
	cost := fmt.Sprintf("  %d starts came to costs of", len(r.Starts))
	for _, s := range r.Starts {
		if s.Note != "" {
			cost += " none,"
			continue
		}
		cost += fmt.Sprintf(" %.2f,", s.Cost)
	}
	fmt.Fprintln(w, strings.TrimSuffix(cost, ","))
	m := r.Imitation
	if m == nil {
		return
	}
	fmt.Fprintf(w, "\n  %-30s %10s %10s\n", "how cycles differ", "recorded", "imitated")
	for _, x := range spreads(m) {
		fmt.Fprintf(w, "  %-30s %10.3f %10.3f\n", x.name, x.recorded, x.imitated)
	}
	fmt.Fprintf(w, "\n  phasebench traces%s\n", knobFlags(&m.Knobs))
}

// spreadRow is one number of how cycles differ.
type spreadRow struct {
	name               string
	recorded, imitated float64
}

func spreads(m *fit.Imitation) []spreadRow {
	a, b := &m.Recorded, &m.Imitated
	return []spreadRow{
		{"sd of ln(spark to 10 %) [-]", a.Development, b.Development}, {"sd of ln(10 to 90 %) [-]", a.Rapid, b.Rapid}, {"correlation of the two [-]", a.Link, b.Link},
		{"COV of gross IMEP [%]", 100 * a.COV, 100 * b.COV}, {"sd of LPP [deg]", a.LPP / deg, b.LPP / deg}, {"sd of CA50 [deg]", a.CA50 / deg, b.CA50 / deg},
		{"misfires [%]", 100 * a.Misfire, 100 * b.Misfire},
	}
}

// knobFlags are the knobs as traces takes them.
func knobFlags(k *stream.Knobs) string {
	var b strings.Builder
	for _, x := range stream.Table {
		fmt.Fprintf(&b, " --knob %s=%.4g", x.Key, *x.At(k))
	}
	return b.String()
}

// fittedFile is the engine as a file, with what was found at its head.
func fittedFile(r *fit.Result, me meta, d *fit.Data) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "# An engine fitted to %d fired and %d motored recorded cycles by %s %s.\n# %s\n#\n", len(d.Fired), len(d.Motored), me.Tool, me.Version, strings.ReplaceAll(wrap(record.Caution, 90), "\n", "\n# "))
	for i := range r.Parameters {
		p := &r.Parameters[i]
		fmt.Fprintf(&b, "# %s: %.5g ± %.2g %s (95 %%: %.5g to %.5g; its error goes with %s)%s\n", p.Name, p.Value/p.By, p.Error/p.By, p.Unit, p.Interval[0]/p.By, p.Interval[1]/p.By, p.Correlated,
			strings.TrimSuffix(" "+unsure(p), " "))
	}
	fmt.Fprintf(&b, "# charge: %.4g ± %.2g mg, made by intake.charge_heating_k\n# left between recording and model: %.3g bar rms, %.1f times what the scatter of the cycles explains%s\n", r.ChargeMass.Value*1e6, r.ChargeMass.Error*1e6, r.RMS/1e5, r.Misfit, lacking(r))
	if m := r.Imitation; m != nil {
		fmt.Fprintf(&b, "# cycles that differ as the recorded ones do: phasebench traces --engine THIS.toml%s\n", knobFlags(&m.Knobs))
	}
	b.WriteString("#\n# What is not named above was taken over from the engine given, friction too.\n\n")
	b.Write(r.Engine.TOML())
	return b.Bytes()
}

// fitPage is the report about a fit.
func fitPage(r *fit.Result, me meta, d *fit.Data, title, file string) *report.Page {
	p := &report.Page{Title: title, Version: me.Version, Seed: me.Seed, Scenario: file, FileTitle: "Engine file", FileAbout: "As it was found; every command takes it by --engine.",
		Origin: "The pressure is that of the recording given; what is called model is computed.", Config: me.settings(),
		About:    fmt.Sprintf("The model laid on %d fired and %d motored recorded cycles. Errors are from the scatter of the cycles; what the model lacks is in none of them.", len(d.Fired), len(d.Motored)),
		Pictures: []report.Picture{{Chart: chart.Fitted(r, title), Caption: "Recorded pressure and model, and what is left. A pattern in what is left is what the model lacks."}}}
	for i := range r.Parameters {
		q := &r.Parameters[i]
		p.Verdict = append(p.Verdict, report.Row{Name: q.Name, Value: fmt.Sprintf("%.5g ± %.2g", q.Value/q.By, q.Error/q.By), Unit: q.Unit,
			Note: strings.TrimSuffix(fmt.Sprintf("95 %%: %.5g to %.5g; error goes with %s; %s", q.Interval[0]/q.By, q.Interval[1]/q.By, q.Correlated, unsure(q)), "; ")})
	}
	p.Verdict = append(p.Verdict, report.Row{Name: "charge", Value: fmt.Sprintf("%.4g ± %.2g", r.ChargeMass.Value*1e6, r.ChargeMass.Error*1e6), Unit: "mg", Note: fmt.Sprintf("made by heating of %.1f K on its way in", r.Heating)},
		report.Row{Name: "left between recording and model", Value: fmt.Sprintf("%.3g", r.RMS/1e5), Unit: "bar rms", Note: fmt.Sprintf("%.1f times what the scatter of the cycles explains%s", r.Misfit, lacking(r))})
	for i, row := range r.Correlation {
		var cells []string
		for _, c := range row[:i] {
			cells = append(cells, fmt.Sprintf("%+.2f", c))
		}
		if i > 0 {
			p.Verdict = append(p.Verdict, report.Row{Name: "correlation of " + r.Parameters[i].Name, Value: strings.Join(cells, " "), Note: "with the parameters above, in their order"})
		}
	}
	for k := range r.Profiles {
		p.Pictures = append(p.Pictures, report.Picture{Chart: chart.Profiled(r, k, title), Caption: "How much worse the fit is elsewhere."})
	}
	if m := r.Imitation; m != nil {
		p.Pictures = append(p.Pictures, report.Picture{Chart: chart.Burns(m, title), Caption: "Burns of recorded cycles, and of cycles that the fitted engine makes with the knobs found."})
		for _, x := range spreads(m) {
			p.Verdict = append(p.Verdict, report.Row{Name: x.name, Value: fmt.Sprintf("%.3f", x.recorded), Note: fmt.Sprintf("imitated: %.3f", x.imitated)})
		}
	}
	p.Definitions = []report.Definition{{Term: "charge over the given engine's", Meaning: "mass of the charge at intake closing, at equal pressure: another temperature"},
		{Term: "profile", Meaning: "the cost as one parameter is held and the others follow: flat where the recording does not tell it"},
		{Term: "knobs", Meaning: "how far successive cycles differ, by cause, as the command traces takes them"}}
	return p
}
