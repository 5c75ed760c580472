package main

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"phasebench/scenarios/chart"
	"phasebench/scenarios/control"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/loop"
	"phasebench/scenarios/record"
	"phasebench/scenarios/report"
	"phasebench/scenarios/traces"
)

// loopMeta says where the numbers of a loop come from: the whole scenario, as a file
// has it, beside what every document tells.
func (l *loopFlags) loopMeta(s *loop.Scenario) (meta, error) {
	m := newMeta("loop", l.seed, s.Engine)
	var text strings.Builder
	if err := loop.WriteNamed(&text, s, l.engineName(s)); err != nil {
		return m, err
	}
	m.Flags = map[string]string{"scenario": text.String(), "seeds": strconv.Itoa(l.seeds)}
	m.keys = append(m.keys, "scenario", "seeds")
	return m, nil
}

// loopTitle says what is run.
func loopTitle(s *loop.Scenario) string {
	law := s.Law.Name
	if s.Law.Knock != "" {
		law += " within " + s.Law.Knock
	}
	if s.Law.Mode != loop.Free {
		law += ", " + string(s.Law.Mode)
	}
	return fmt.Sprintf("%s: law %s, reader %s", plain(s.Name), law, s.Sensing.String())
}

// once runs s with one seed.
func (l *loopFlags) once(cmd *cobra.Command, s *loop.Scenario) error {
	ctx := cmd.Context()
	b, err := loop.NewBench(ctx, s)
	if err != nil {
		return behindFlags(err, loopKeys)
	}
	r, err := b.Run(ctx, l.seed, nil)
	if err != nil {
		return err
	}
	m, err := l.loopMeta(s)
	if err != nil {
		return err
	}
	v := r.Verdict()
	outcome := loop.Judge(s, []*loop.Run{r})
	if err := l.files(ctx, cmd, b, r, &v, &m); err != nil {
		return err
	}
	if l.json {
		err = writeJSON(cmd.OutOrStdout(), struct {
			Scenario string         `json:"scenario"`
			Law      string         `json:"law"`
			Told     string         `json:"outside_law,omitempty"`
			Failure  string         `json:"failure,omitempty"`
			Pass     bool           `json:"pass"`
			Why      []string       `json:"why"`
			Verdict  map[string]any `json:"verdict"`
			Meta     meta           `json:"meta"`
		}{s.Name, s.Law.Name, r.Told, failureText(r.Failure), outcome.Pass, texts(outcome.Why), v.Record(), m})
	} else {
		err = printRun(cmd.OutOrStdout(), r, &v, outcome.Why)
	}
	if err == nil && !outcome.Pass {
		err = fmt.Errorf("%w: %s", errJudged, strings.Join(outcome.Why, "; "))
	}
	return err
}

// texts is all, never nil: an empty list in JSON.
func texts(all []string) []string { return append([]string{}, all...) }

func failureText(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

// files writes what was asked for about r.
func (l *loopFlags) files(ctx context.Context, cmd *cobra.Command, b *loop.Bench, r *loop.Run, v *loop.Verdict, m *meta) error {
	title := loopTitle(r.Scenario)
	if l.csv != "" {
		if err := writeFile(l.csv, func(w io.Writer) error { return loop.WriteCSV(w, r, m.notes()) }); err != nil {
			return err
		}
	}
	if l.plot != "" {
		if err := m.picture(l.plot, chart.Loop(r, title)); err != nil {
			return err
		}
	}
	if l.report != "" {
		page := pageOf(r, v, m, title)
		if err := writeFile(l.report, func(w io.Writer) error { return report.Write(w, page) }); err != nil {
			return err
		}
	}
	if l.out != "" {
		if err := l.dataset(ctx, cmd, l.out, len(r.Steps), "Log of a closed-loop run: "+title, m, r.Source); err != nil {
			return err
		}
	}
	if l.replayOut == "" {
		return nil
	}
	from, to, err := parseRange(l.replay)
	if err != nil {
		return err
	}
	replay, err := traces.Replay(b, r, from, to+1)
	if err != nil {
		return behindFlags(err, map[string]string{"replay.from_cycle": "replay", "replay.to_cycle": "replay"})
	}
	return l.dataset(ctx, cmd, l.replayOut, to+1-from, fmt.Sprintf("Cycles %d to %d of a closed-loop run: %s", from, to, title), m,
		func() (dataset.Source, error) { return replay.Source(ctx) })
}

// parseRange reads FROM-TO.
func parseRange(text string) (from, to int, err error) {
	a, b, ok := strings.Cut(text, "-")
	if ok {
		if from, err = strconv.Atoi(a); err == nil {
			to, err = strconv.Atoi(b)
		}
	}
	if !ok || err != nil || from < 0 || to < from {
		return 0, 0, bad("replay", text, "FROM-TO with whole numbers, such as 300-340")
	}
	return from, to, nil
}

// dataset writes count rows to dir.
func (l *loopFlags) dataset(ctx context.Context, cmd *cobra.Command, dir string, count int, title string, m *meta, source func() (dataset.Source, error)) error {
	card := dataset.Card{Title: title, Description: "A controller in closed loop against a simulated engine: what was asked, seen, ordered and fired, and what was true.",
		Tool: m.Tool, Version: m.Version, Seed: l.seed, Caution: record.Caution, Licence: licence, Config: m.settings()}
	step, end := progress(ctx, cmd.ErrOrStderr(), "cycles")
	defer end()
	return dataset.Write(ctx, &dataset.Plan{Dir: dir, Formats: l.formats, Cycles: count, Part: count, Workers: 1, Card: card, Source: source, Progress: step})
}

// pageOf is the report about r.
func pageOf(r *loop.Run, v *loop.Verdict, m *meta, title string) *report.Page {
	p := &report.Page{Title: title, Version: m.Version, Seed: r.Seed, Scenario: m.Flags["scenario"],
		Config:   slices.DeleteFunc(m.settings(), func(s dataset.Setting) bool { return strings.HasPrefix(s.Key, "flag.") }),
		About:    fmt.Sprintf("%d cycles of %s in closed loop, %.1f s of the engine's time.", len(r.Steps), placeOf(r.Scenario), r.Steps[len(r.Steps)-1].Time),
		Pictures: []report.Picture{{Chart: chart.Loop(r, title), Caption: "The run, cycle by cycle."}}}
	if v.Runaway {
		p.Verdict = append(p.Verdict, report.Row{Name: "orders ran to a limit while the true peak was on the wrong side", Value: "yes", Note: "runaway"})
	}
	if r.Failure != nil {
		p.Verdict = append(p.Verdict, report.Row{Name: "outside law", Value: "lost", Note: r.Failure.Error()})
	}
	for _, x := range v.Lines() {
		p.Verdict = append(p.Verdict, report.Row{Name: x.About, Value: x.Text, Unit: x.Unit, Note: x.Key})
	}
	for _, s := range loop.States() {
		p.Definitions = append(p.Definitions, report.Definition{Term: string(s), Meaning: s.Meaning()})
	}
	return p
}

// printRun tells people what r came to.
func printRun(w io.Writer, r *loop.Run, v *loop.Verdict, why []string) error {
	s := r.Scenario
	fmt.Fprintln(w, loopTitle(s))
	fmt.Fprintf(w, "%s; %d cycles, %.1f s of the engine's time\n\n", placeOf(s), len(r.Steps), r.Steps[len(r.Steps)-1].Time)
	for _, x := range v.Lines() {
		fmt.Fprintf(w, "  %-28s %9s  %s\n", x.Key, x.Text, x.About)
	}
	fmt.Fprintf(w, "  %-28s %9s\n", "runaway", yes(v.Runaway))
	var states []string
	for _, state := range loop.States() {
		if n := v.States[state]; n > 0 {
			states = append(states, fmt.Sprintf("%s %d", state, n))
		}
	}
	fmt.Fprintf(w, "  guard, cycles in each state   %s\n", strings.Join(states, ", "))
	if at := r.Changes(); len(at) > 0 {
		fmt.Fprintln(w, "\nWhat the guard did")
		for i, t := range at {
			if i == mostChanges {
				fmt.Fprintf(w, "  and %d more: see --csv\n", len(at)-i)
				break
			}
			fmt.Fprintf(w, "  cycle %5d  %-8s  %s\n", t.Cycle, t.State, t.Why)
		}
	}
	if a := r.Steps[len(r.Steps)-1].Advice; !math.IsNaN(a.Off) {
		fmt.Fprintf(w, "\nAdvice at the end: %+.1f deg of advance, confidence %.2f; it moved nothing\n", a.Off/deg, a.Confidence)
	}
	fmt.Fprintln(w)
	if err := sketchLoop(w, r); err != nil {
		return err
	}
	fmt.Fprintln(w)
	if r.Told != "" {
		fmt.Fprintf(w, "The law called itself %s.\n", plain(r.Told))
	}
	if r.Failure != nil {
		fmt.Fprintln(w, plain(r.Failure.Error()))
	}
	for _, x := range why {
		fmt.Fprintln(w, "NOT PASSED: it "+x)
	}
	fmt.Fprintln(w, wrap(record.Caution, 96))
	return nil
}

// mostChanges is how many changes of the guard are printed.
const mostChanges = 12

func yes(b bool) string {
	if b {
		return "YES"
	}
	return "no"
}

// sketchLoop draws the spark over the cycles as text.
func sketchLoop(w io.Writer, r *loop.Run) error {
	var xs, ys []float64
	for i := range r.Steps {
		xs, ys = append(xs, float64(r.Steps[i].Cycle)), append(ys, r.Steps[i].Fired.Leading/deg)
	}
	return chart.Sketch(w, xs, ys, &chart.SketchOptions{XTitle: "cycle", YTitle: "spark advance [deg before dead centre]"})
}

// battery runs scenarios with every seed.
func (l *loopFlags) battery(cmd *cobra.Command, s *loop.Scenario, all []loop.Scenario) error {
	outcomes, err := l.runs(cmd, func(step func(int, int)) ([]loop.Outcome, error) {
		return loop.RunBattery(cmd.Context(), all, l.seedList(), l.workers, step)
	})
	if err != nil {
		return err
	}
	m, err := l.loopMeta(s)
	if err != nil {
		return err
	}
	failed := 0
	for i := range outcomes {
		if !outcomes[i].Pass {
			failed++
		}
	}
	if l.json {
		type entry struct {
			Scenario string           `json:"scenario"`
			About    string           `json:"about"`
			Pass     bool             `json:"pass"`
			Why      []string         `json:"why"`
			Seeds    []uint64         `json:"seeds"`
			Verdicts []map[string]any `json:"verdicts"`
		}
		doc := struct {
			Law       string  `json:"law"`
			Scenarios []entry `json:"scenarios"`
			Failed    int     `json:"failed"`
			Meta      meta    `json:"meta"`
		}{Law: s.Law.Name, Failed: failed, Meta: m}
		for i := range outcomes {
			o := &outcomes[i]
			e := entry{o.Scenario.Name, loop.About(o.Scenario.Name), o.Pass, texts(o.Why), o.Seeds, nil}
			for k := range o.Verdicts {
				e.Verdicts = append(e.Verdicts, o.Verdicts[k].Record())
			}
			doc.Scenarios = append(doc.Scenarios, e)
		}
		err = writeJSON(cmd.OutOrStdout(), doc)
	} else {
		printBattery(cmd.OutOrStdout(), s, outcomes)
	}
	if err == nil && failed > 0 {
		err = fmt.Errorf("%w in %d of %d scenarios", errJudged, failed, len(outcomes))
	}
	return err
}

// seedList is the seeds of the runs.
func (l *loopFlags) seedList() []uint64 {
	var all []uint64
	for i := range l.seeds {
		all = append(all, l.seed+uint64(i))
	}
	return all
}

// runs carries out many runs with a bar of progress.
func (l *loopFlags) runs(cmd *cobra.Command, of func(step func(int, int)) ([]loop.Outcome, error)) ([]loop.Outcome, error) {
	step, end := progress(cmd.Context(), cmd.ErrOrStderr(), "runs")
	defer end()
	return of(step)
}

// printBattery tells people what a battery came to; numbers are means over seeds.
func printBattery(w io.Writer, s *loop.Scenario, all []loop.Outcome) {
	fmt.Fprintln(w, loopTitle(s))
	fmt.Fprintf(w, "%s; seeds from %d, %s of each scenario\n\n", placeOf(s), all[0].Seeds[0], counted(len(all[0].Seeds), "run"))
	fmt.Fprintln(w, "                               settles  spark  off target  torque   false   in fall-   declined")
	fmt.Fprintln(w, "scenario              passed    cycles sd deg         deg  lost %     run  back cycles       %")
	for i := range all {
		o := &all[i]
		mean := func(format string, scale float64, of func(*loop.Verdict) float64) string {
			sum, n := 0., 0.
			for k := range o.Verdicts {
				if v := of(&o.Verdicts[k]); !math.IsNaN(v) {
					sum, n = sum+v/scale, n+1
				}
			}
			if n == 0 {
				return "none"
			}
			return fmt.Sprintf(format, sum/n)
		}
		fmt.Fprintf(w, "%-24s %s %9s %6s %11s %7s %7s %12s %8s\n", o.Scenario.Name, map[bool]string{true: "yes", false: "NO "}[o.Pass],
			mean("%.0f", 1, func(v *loop.Verdict) float64 { return v.Settle }), mean("%.2f", deg, func(v *loop.Verdict) float64 { return v.Hover }),
			mean("%+.2f", deg, func(v *loop.Verdict) float64 { return v.OffTarget }), mean("%.3f", 0.01, func(v *loop.Verdict) float64 { return v.TorqueLost }),
			mean("%.0f", 1, func(v *loop.Verdict) float64 { return float64(v.FalseRun) }), mean("%.0f", 1, func(v *loop.Verdict) float64 { return float64(v.Fallback) }),
			mean("%.0f", 0.01, func(v *loop.Verdict) float64 { return v.Declined }))
		for _, why := range o.Why {
			fmt.Fprintln(w, "    it "+why)
		}
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap(record.Caution, 96))
}

// counted is n things.
func counted(n int, thing string) string {
	if n == 1 {
		return "1 " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// rank compares laws over the battery.
func (l *loopFlags) rank(cmd *cobra.Command, s *loop.Scenario) error {
	var controllers []loop.Controller
	for _, name := range l.compare {
		law := s.Law
		law.Name, law.Numbers = name, nil
		if _, err := control.New(name, nil); err != nil {
			return behindFlags(err, map[string]string{"law": "compare"})
		}
		if slices.ContainsFunc(controllers, func(c loop.Controller) bool { return c.Name == name }) {
			return bad("compare", name, "each law once")
		}
		controllers = append(controllers, loop.Controller{Name: name, Law: law, Guard: s.Guard})
	}
	step, end := progress(cmd.Context(), cmd.ErrOrStderr(), "runs")
	ranking, err := loop.Compare(cmd.Context(), loop.Battery(s), controllers, l.seedList(), l.workers, step)
	end()
	if err != nil {
		return behindFlags(err, loopKeys)
	}
	m, err := l.loopMeta(s)
	if err != nil {
		return err
	}
	if l.json {
		return writeJSON(cmd.OutOrStdout(), struct {
			Standings []map[string]any `json:"standings"`
			Statement []string         `json:"statement"`
			Meta      meta             `json:"meta"`
		}{standings(ranking), ranking.Statement(), m})
	}
	w := cmd.OutOrStdout()
	fmt.Fprintf(w, "%s; reader %s; seeds from %d, %s of each scenario of the battery\n\n", placeOf(s), s.Sensing.String(), l.seed, counted(l.seeds, "run"))
	fmt.Fprintln(w, "                        torque lost   over the best, 95 %  settles    spark   ran  never")
	fmt.Fprintln(w, "law                               %                     %   cycles   sd deg  away settled")
	for i := range ranking.Standings {
		x := &ranking.Standings[i]
		over := "best"
		if d := &x.TorqueLost.Over; x != ranking.Best {
			over = fmt.Sprintf("%+.3f (%.3f to %.3f)", 100*d.Mean, 100*d.Low, 100*d.High)
			if math.IsNaN(d.Low) {
				over = fmt.Sprintf("%+.3f", 100*d.Mean)
			}
		}
		fmt.Fprintf(w, "%-24s %10.3f %21s %8.1f %8.2f %5d %6d\n", x.Controller.Name, 100*x.TorqueLost.Mean, over, x.Settle.Mean, x.Hover.Mean/deg, x.Runaways, x.Unsettled)
	}
	fmt.Fprintln(w)
	for _, line := range ranking.Statement() {
		fmt.Fprintln(w, line)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap(record.Caution, 96))
	return nil
}

// standings is a ranking for JSON.
func standings(r *loop.Ranking) []map[string]any {
	var all []map[string]any
	for i := range r.Standings {
		x := &r.Standings[i]
		out := map[string]any{"law": x.Controller.Name, "runs": x.Runs, "runaways": x.Runaways, "unsettled": x.Unsettled, "failures": x.Failures}
		for _, n := range []struct {
			key   string
			of    *loop.Score
			scale float64
		}{{"torque_lost_percent", &x.TorqueLost, 0.01}, {"settle_cycles", &x.Settle, 1}, {"spark_sd_deg", &x.Hover, deg}} {
			out[n.key] = map[string]any{"mean": record.Number(n.of.Mean, n.scale), "over_best": record.Number(n.of.Over.Mean, n.scale),
				"over_best_low": record.Number(n.of.Over.Low, n.scale), "over_best_high": record.Number(n.of.Over.High, n.scale)}
		}
		all = append(all, out)
	}
	return all
}
