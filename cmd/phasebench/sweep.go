package main

import (
	"errors"
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// mostPoints is the longest sweep.
const mostPoints = 10000

func newSweep() *cobra.Command {
	var c common
	var from, to, step float64
	cmd := &cobra.Command{
		Use:   "sweep",
		Short: "spark sweep: torque, LPP, peak pressure, CA50; MBT",
		Long: `Solve the cycle for a row of spark advances and find MBT, the spark advance of
maximum brake torque, by optimisation.`,
		Example: `  phasebench sweep
  phasebench sweep --map-kpa 45 --from-deg 10 --to-deg 60 --step-deg 2.5 --plot sweep.svg`,
		Args: noArgs,
	}
	c.register(cmd.Flags())
	c.complete(cmd)
	cmd.Flags().Lookup("spark-deg").Usage = "recorded only: a sweep has --from-deg, --to-deg and --step-deg"
	cmd.Flags().Float64Var(&from, "from-deg", 0, "first spark advance [deg before dead centre] (default 0)")
	cmd.Flags().Float64Var(&to, "to-deg", 50, "last spark advance [deg before dead centre]")
	cmd.Flags().Float64Var(&step, "step-deg", 5, "from one spark advance to the next [deg]")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := checkPicture("plot", c.plot); err != nil {
			return err
		}
		sparks, err := row(from, to, step)
		if err != nil {
			return err
		}
		e, err := c.load(cmd.Flags())
		if err != nil {
			return err
		}
		if err := checkEnds(e, sparks, from, to); err != nil {
			return err
		}
		s, err := solve.New(e, nil)
		if err != nil {
			return err
		}
		r, err := sweep.Run(cmd.Context(), s, e.Point, sparks)
		if err != nil {
			return err
		}
		m := newMeta("sweep", c.seed, e)
		if c.plot != "" {
			if err := m.picture(c.plot, chart.Sweep(r, place(e))); err != nil {
				return err
			}
		}
		if c.json {
			return writeJSON(cmd.OutOrStdout(), sweepJSON(r, m))
		}
		return printSweep(cmd.OutOrStdout(), e, r, c.plot == "")
	}
	return cmd
}

// row lists from, from+step … up to to, all in degrees, as radians.
func row(from, to, step float64) ([]float64, error) {
	switch least := (to - from) / (mostPoints - 1); {
	case !(math.Abs(from) <= 360):
		return nil, &model.Problem{Key: "from_deg", Given: short(from), Want: "-360 to 360 deg"}
	case !(to >= from && to <= 360):
		return nil, &model.Problem{Key: "to_deg", Given: short(to), Want: "from --from-deg = " + short(from) + " to 360 deg"}
	case !(step > 0 && step <= 720):
		return nil, &model.Problem{Key: "step_deg", Given: short(step), Want: "more than 0 and at most 720 deg"}
	case !(step >= least*(1-1e-12)):
		return nil, &model.Problem{Key: "step_deg", Given: short(step),
			Want: fmt.Sprintf("at least %.6g deg between %s and %s, or there are more than %d points", least, short(from), short(to), mostPoints)}
	}
	n := int((to-from)/step*(1+1e-12)+1e-9) + 1
	sparks := make([]float64, n)
	for i := range sparks {
		sparks[i] = (from + float64(i)*step) * deg
	}
	return sparks, nil
}

// checkEnds tells which of the two ends of sparks, given as from and to [deg],
// is beyond what e allows.
func checkEnds(e *model.Engine, sparks []float64, from, to float64) error {
	for _, end := range []struct {
		flag  string
		given float64
		spark float64
	}{{"from-deg", from, sparks[0]}, {"to-deg", to, sparks[len(sparks)-1]}} {
		op := e.Point
		op.Spark = end.spark
		var p *model.Problem
		if err := op.Check(e); errors.As(err, &p) {
			return &model.Problem{Key: keyOf(end.flag), Given: short(end.given), Want: p.Want}
		}
	}
	return nil
}

func short(v float64) string { return fmt.Sprintf("%g", v) }

// sweepPoint is a row of a sweep; the loss is null without torque at MBT.
type sweepPoint struct {
	record.Cycle
	TorqueLoss *float64 `json:"torque_loss_fraction"`
}

func point(r *sweep.Result, p *sweep.Point) sweepPoint {
	out := sweepPoint{Cycle: record.Of(&p.Operating, p.Lit, &p.Indicators)}
	if loss := r.Loss(p); r.MBT.Torque > 0 {
		out.TorqueLoss = &loss
	}
	return out
}

func sweepJSON(r *sweep.Result, m meta) any {
	doc := struct {
		Points []sweepPoint `json:"points"`
		MBT    sweepPoint   `json:"mbt"`
		Meta   meta         `json:"meta"`
	}{MBT: point(r, &r.MBT), Meta: m}
	for i := range r.Points {
		doc.Points = append(doc.Points, point(r, &r.Points[i]))
	}
	return doc
}

// printSweep writes the table and, with sketch, torque against spark as text.
func printSweep(w io.Writer, e *model.Engine, r *sweep.Result, sketch bool) error {
	fmt.Fprintln(w, place(e))
	fmt.Fprintln(w)
	fmt.Fprintln(w, "      spark    torque  against      LPP     CA50     Pmax  IMEP net  indicated  peak gas")
	fmt.Fprintln(w, "   deg BTDC       N m    MBT %  deg ATDC deg ATDC      bar       bar efficiency         K")
	line := func(mark string, p *sweep.Point) {
		q := point(r, p)
		loss := "none"
		if q.TorqueLoss != nil {
			d := -100 * *q.TorqueLoss
			loss = text("%.2f", &d)
		}
		fmt.Fprintf(w, "%-4s %6s %9s %8s %9s %8s %8s %9s %10s %9s\n", mark, text("%.1f", q.SparkDegBTDC), text("%.2f", q.BrakeTorqueNm),
			loss, text("%.1f", q.LPPDegATDC), text("%.1f", q.CA50DegATDC), text("%.2f", q.PmaxBar),
			text("%.3f", q.IMEPNetBar), text("%.4f", q.IndicatedEfficiency), text("%.0f", q.PeakMeanK))
	}
	for i := range r.Points {
		line("", &r.Points[i])
	}
	fmt.Fprintln(w)
	line("MBT", &r.MBT)
	if sketch {
		fmt.Fprintln(w)
		if err := sketchSweep(w, r); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap(record.Caution, 96))
	return nil
}
