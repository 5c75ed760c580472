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
	var from, to, step, torque float64
	var knock, split bool
	cmd := &cobra.Command{
		Use:   "sweep",
		Short: "spark sweep: torque, LPP, peak pressure, CA50; MBT",
		Long: `Solve the cycle for a row of spark advances and find MBT, the spark advance of
maximum brake torque, by optimisation. --knock adds when and how hard the
unburned charge knocks, and the knock-limited spark. With --hold-torque-nm the
manifold pressure is found at every spark so that the torque holds: airflow
against spark shows what a spark costs at light load. --split goes over the split
between the two plugs of an engine that has two, each at the MBT of the leading
plug, and finds the best.`,
		Example: `  phasebench sweep
  phasebench sweep --map-kpa 45 --from-deg 10 --to-deg 60 --step-deg 2.5 --plot sweep.svg
  phasebench sweep --knock --speed-rpm 1500 --map-kpa 95
  phasebench sweep --hold-torque-nm 8 --from-deg 10
  phasebench sweep --engine rotary-set --split`,
		Args: noArgs,
	}
	c.register(cmd.Flags())
	c.complete(cmd)
	cmd.Flags().Lookup("spark-deg").Usage = "recorded only: a sweep has --from-deg, --to-deg and --step-deg"
	cmd.Flags().Float64Var(&from, "from-deg", 0, "first spark advance [deg before dead centre] (default 0)")
	cmd.Flags().Float64Var(&to, "to-deg", 50, "last spark advance [deg before dead centre]")
	cmd.Flags().Float64Var(&step, "step-deg", 5, "from one spark advance to the next [deg]")
	cmd.Flags().BoolVar(&knock, "knock", false, "show knock, and find the knock-limited spark")
	cmd.Flags().BoolVar(&split, "split", false, fmt.Sprintf("go over the split between leading and trailing plug; --from-deg and --to-deg are splits then [deg] (default %d to %d)", splitFrom, splitTo))
	optional(cmd.Flags(), &torque, "hold-torque-nm", "brake torque held by the throttle at every spark, in place of --map-kpa [N m]")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		f := cmd.Flags()
		if err := checkPicture("plot", c.plot); err != nil {
			return err
		}
		e, err := c.load(f)
		if err != nil {
			return err
		}
		if split {
			if err := checkSplit(f, e); err != nil {
				return err
			}
		}
		sparks, err := row(from, to, step)
		if err != nil {
			return err
		}
		if split {
			if err := splitEnds(e, sparks, from, to); err != nil {
				return err
			}
			s, err := solve.New(e, nil)
			if err != nil {
				return err
			}
			m := newMeta("sweep", c.seed, e)
			m.also(f, "split", "from-deg", "to-deg", "step-deg")
			return sweepSplits(cmd, &c, s, e, sparks, m)
		}
		if err := checkEnds(e, sparks, from, to); err != nil {
			return err
		}
		hold := f.Lookup("hold-torque-nm") != nil && f.Changed("hold-torque-nm")
		if hold {
			if err := checkTorque(f, e, torque); err != nil {
				return err
			}
		}
		s, err := solve.New(e, nil)
		if err != nil {
			return err
		}
		m := newMeta("sweep", c.seed, e)
		if hold {
			m.also(f, "from-deg", "to-deg", "step-deg", "hold-torque-nm")
			return holdTorque(cmd, &c, s, e, torque, sparks, m)
		}
		r, err := sweep.Run(cmd.Context(), s, e.Point, sparks)
		if err != nil {
			return err
		}
		var limit *sweep.Limit
		if knock {
			l, err := sweep.KnockLimit(cmd.Context(), s, e.Point)
			if err != nil {
				return err
			}
			limit = &l
		}
		if c.plot != "" {
			if err := m.picture(c.plot, chart.Sweep(r, place(e))); err != nil {
				return err
			}
		}
		if c.json {
			return writeJSON(cmd.OutOrStdout(), sweepJSON(r, limit, m))
		}
		return printSweep(cmd.OutOrStdout(), e, r, limit, c.plot == "")
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

// knockLimit is a knock-limited spark.
type knockLimit struct {
	Kind          string `json:"kind"` // limited; free: no spark knocks; always: every spark does; unknown: none lights
	*record.Cycle        // of that spark; none unless limited
}

func knockLimitOf(l *sweep.Limit) knockLimit {
	if l.Kind != sweep.Limited {
		return knockLimit{Kind: l.Kind.String()}
	}
	r := record.Of(&l.Operating, l.Lit, &l.Indicators)
	return knockLimit{l.Kind.String(), &r}
}

// limited is the point of the limit, without numbers if there is none.
func (k *knockLimit) limited() *record.Cycle {
	if k.Cycle == nil {
		return &record.Cycle{}
	}
	return k.Cycle
}

func sweepJSON(r *sweep.Result, limit *sweep.Limit, m meta) any {
	doc := struct {
		Points []sweepPoint `json:"points"`
		MBT    sweepPoint   `json:"mbt"`
		Knock  *knockLimit  `json:"knock_limit,omitempty"`
		Meta   meta         `json:"meta"`
	}{MBT: point(r, &r.MBT), Meta: m}
	for i := range r.Points {
		doc.Points = append(doc.Points, point(r, &r.Points[i]))
	}
	if limit != nil {
		l := knockLimitOf(limit)
		doc.Knock = &l
	}
	return doc
}

// printSweep writes the table and, with sketch, torque against spark as text.
// With limit it tells of knock.
func printSweep(w io.Writer, e *model.Engine, r *sweep.Result, limit *sweep.Limit, sketch bool) error {
	fmt.Fprintln(w, place(e))
	fmt.Fprintln(w)
	heads := [2]string{"  IMEP net  indicated  peak gas", "       bar efficiency         K"}
	if limit != nil {
		heads = [2]string{"     knock    onset  unburned intensity", "  integral deg ATDC    then %       bar"}
	}
	fmt.Fprintln(w, "      spark    torque  against      LPP     CA50     Pmax"+heads[0])
	fmt.Fprintln(w, "   deg BTDC       N m    MBT %  deg ATDC deg ATDC      bar"+heads[1])
	line := func(mark string, p *sweep.Point) {
		q := point(r, p)
		fmt.Fprintf(w, "%-4s %6s %9s %8s %9s %8s %8s", mark, text("%.1f", q.SparkDegBTDC), text("%.2f", q.BrakeTorqueNm),
			percent("%.2f", q.TorqueLoss, -1), text("%.1f", q.LPPDegATDC), text("%.1f", q.CA50DegATDC), text("%.2f", q.PmaxBar))
		if limit != nil {
			fmt.Fprintf(w, " %10s %8s %9s %9s\n", text("%.3f", q.KnockIntegral), text("%.1f", q.KnockOnsetDegATDC),
				percent("%.1f", q.KnockUnburned, 1), text("%.2f", q.KnockIntensityBar))
			return
		}
		fmt.Fprintf(w, " %9s %10s %9s\n", text("%.3f", q.IMEPNetBar), text("%.4f", q.IndicatedEfficiency), text("%.0f", q.PeakMeanK))
	}
	for i := range r.Points {
		line("", &r.Points[i])
	}
	fmt.Fprintln(w)
	line("MBT", &r.MBT)
	if limit != nil {
		switch limit.Kind {
		case sweep.Limited:
			line("KLSA", &limit.Point)
			fmt.Fprintln(w, "KLSA: knock-limited spark advance")
		case sweep.Free:
			fmt.Fprintln(w, "no spark knocks")
		case sweep.Always:
			fmt.Fprintf(w, "every spark knocks, even one of %s deg\n", text("%.1f", record.Of(&limit.Operating, true, &limit.Indicators).SparkDegBTDC))
		default:
			fmt.Fprintln(w, "knock: "+limit.Missing)
		}
	}
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

// percent writes a fraction, times sign, as a percentage.
func percent(format string, v *float64, sign float64) string {
	if v == nil {
		return "none"
	}
	x := 100 * sign * *v
	return text(format, &x)
}
