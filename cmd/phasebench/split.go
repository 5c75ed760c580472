package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// splitFrom and splitTo are the ends of a sweep over the split unless told
// otherwise [deg]: our own choice.
const (
	splitFrom = -20
	splitTo   = 30
)

// checkSplit refuses what does not go with --split and sets its ends.
func checkSplit(f *pflag.FlagSet, e *model.Engine) error {
	if e.Burn.Plugs != 2 {
		return bad("split", true, "no such flag for an engine with one plug")
	}
	for _, name := range []string{"knock", "hold-torque-nm", "trailing-split-deg"} {
		if x := f.Lookup(name); x != nil && x.Changed {
			return &model.Problem{Key: keyOf(name), Given: x.Value.String(), Want: "nothing beside --split"}
		}
	}
	for name, usual := range map[string]float64{"from-deg": splitFrom, "to-deg": splitTo} {
		if f.Changed(name) {
			continue
		}
		if err := f.Set(name, short(usual)); err != nil {
			return err
		}
	}
	return nil
}

// splitEnds tells which of the two ends of splits, given as from and to [deg], is
// beyond what e allows.
func splitEnds(e *model.Engine, splits []float64, from, to float64) error {
	for _, end := range []struct {
		flag         string
		given, split float64
	}{{"from-deg", from, splits[0]}, {"to-deg", to, splits[len(splits)-1]}} {
		op := e.Point
		op.Split = end.split
		var p *model.Problem
		if err := op.Check(e); errors.As(err, &p) {
			return &model.Problem{Key: keyOf(end.flag), Given: short(end.given), Want: p.Want}
		}
	}
	return nil
}

// sweepSplits runs a sweep over the split.
func sweepSplits(cmd *cobra.Command, c *common, s *solve.Solver, e *model.Engine, splits []float64, m meta) error {
	r, err := sweep.OverSplits(cmd.Context(), s, e.Point, splits)
	if err != nil {
		return err
	}
	if c.plot != "" {
		if err := m.picture(c.plot, chart.Splits(r, place(e))); err != nil {
			return err
		}
	}
	if !c.json {
		return printSplits(cmd.OutOrStdout(), r, place(e))
	}
	at := func(p *sweep.Point) sweepPoint {
		out := sweepPoint{Cycle: record.Of(&p.Operating, p.Lit, &p.Indicators)}
		if loss := r.Loss(p); r.Best.Torque > 0 {
			out.TorqueLoss = &loss
		}
		return out
	}
	doc := struct {
		Points []sweepPoint `json:"points"` // each at the MBT of the leading plug
		Best   sweepPoint   `json:"best_split"`
		Edge   bool         `json:"best_at_end"` // of the splits asked for: more torque may lie beyond
		Flat   float64      `json:"flat_fraction"`
		From   *float64     `json:"flat_from_split_deg"` // within flat_fraction of the torque at the best split
		To     *float64     `json:"flat_to_split_deg"`
		Meta   meta         `json:"meta"`
	}{nil, at(&r.Best), r.Edge, sweep.Flat, record.Number(r.From, deg), record.Number(r.To, deg), m}
	for i := range r.Points {
		doc.Points = append(doc.Points, at(&r.Points[i]))
	}
	return writeJSON(cmd.OutOrStdout(), doc)
}

// printSplits writes the table, and torque against split as text.
func printSplits(w io.Writer, r *sweep.Splits, title string) error {
	fmt.Fprintln(w, title)
	fmt.Fprintln(w)
	fmt.Fprintln(w, "         trailing       MBT    torque  against      LPP     CA50     Pmax  indicated  residual    knock")
	fmt.Fprintln(w, "    deg after lead deg BTDC      N m   best % deg ATDC deg ATDC      bar efficiency         % integral")
	line := func(mark string, p *sweep.Point) {
		q := record.Of(&p.Operating, p.Lit, &p.Indicators)
		loss := r.Loss(p)
		fmt.Fprintf(w, "%-5s %11s %9s %9s %8s %8s %8s %8s %10s %9s %8s\n", mark, text("%.1f", q.SplitDeg), text("%.1f", q.SparkDegBTDC),
			text("%.2f", q.BrakeTorqueNm), percent("%.2f", &loss, -1), text("%.1f", q.LPPDegATDC), text("%.1f", q.CA50DegATDC),
			text("%.2f", q.PmaxBar), text("%.4f", q.IndicatedEfficiency), percent("%.1f", q.ResidualFraction, 1), text("%.3f", q.KnockIntegral))
	}
	for i := range r.Points {
		line("", &r.Points[i])
	}
	fmt.Fprintln(w)
	line("best", &r.Best)
	fmt.Fprintf(w, "within %g %% of its torque from a split of %s to one of %s deg\n", 100*sweep.Flat,
		text("%.1f", record.Number(r.From, deg)), text("%.1f", record.Number(r.To, deg)))
	if r.Edge {
		fmt.Fprintln(w, "The best split is at an end of those asked for: more torque may lie beyond.")
	}
	fmt.Fprintln(w)
	xs, ys := make([]float64, len(r.Points)), make([]float64, len(r.Points))
	for i, p := range r.Points {
		xs[i], ys[i] = p.Operating.Split/deg, p.Torque
	}
	if err := chart.Sketch(w, xs, ys, &chart.SketchOptions{
		XTitle: "trailing plug behind the leading one [deg]", YTitle: "brake torque at MBT [N m]", Angle: true, Samples: true,
		Marks: []chart.SketchMark{{X: r.Best.Operating.Split / deg, Y: r.Best.Torque, Letter: 'B', Text: "best split"}}}); err != nil {
		return err
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap(record.Caution, 96))
	return nil
}
