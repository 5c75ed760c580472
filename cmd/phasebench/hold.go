package main

import (
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// checkTorque checks what belongs to a torque [N·m] that is held.
func checkTorque(f *pflag.FlagSet, e *model.Engine, torque float64) error {
	c, err := e.Chamber()
	if err != nil {
		return err
	}
	const highest = 30e5 // brake mean effective pressure that no engine here has [Pa]
	strokes := c.Strokes()
	if most := highest * c.Swept() / strokes.Period() * e.Chambers(); !(torque >= 0 && torque <= most) {
		return &model.Problem{Key: keyOf("hold-torque-nm"), Given: short(torque), Want: fmt.Sprintf("0 to %.4g N m for this engine", most)}
	}
	for _, name := range []string{"map-kpa", "knock"} {
		if x := f.Lookup(name); x.Changed {
			return &model.Problem{Key: keyOf(name), Given: x.Value.String(), Want: "nothing beside --hold-torque-nm"}
		}
	}
	return nil
}

// holdPoint is a row of a sweep at held torque.
type holdPoint struct {
	record.Cycle
	AirflowExcess *float64 `json:"airflow_excess_fraction"` // over the least
	Missing       string   `json:"missing,omitempty"`       // why the torque is not reached
}

func holdPointOf(p, least *sweep.Point) holdPoint {
	out := holdPoint{Cycle: record.Of(&p.Operating, p.Lit, &p.Indicators), Missing: p.Missing}
	if excess := p.Airflow/least.Airflow - 1; !math.IsNaN(excess) {
		out.AirflowExcess = &excess
	}
	return out
}

// holdTorque runs a sweep at held torque.
func holdTorque(cmd *cobra.Command, c *common, s *solve.Solver, e *model.Engine, torque float64, sparks []float64, m meta) error {
	least, err := sweep.HoldTorqueMBT(cmd.Context(), s, e.Point, torque)
	if err != nil {
		return err
	}
	points, err := sweep.HoldTorque(cmd.Context(), s, e.Point, torque, sparks)
	if err != nil {
		return err
	}
	op := e.Point
	op.MAP = least.Operating.MAP
	mbt, err := sweep.MBT(cmd.Context(), s, op)
	if err != nil {
		return err
	}
	title := fmt.Sprintf("%s, %.6g rpm, lambda %.3g, brake torque held at %.4g N m%s",
		plain(e.Name), e.Point.Speed*60/(2*math.Pi), e.Point.Lambda, torque, shaft(e))
	if c.plot != "" {
		if err := m.picture(c.plot, chart.Airflow(points, least, title)); err != nil {
			return err
		}
	}
	if c.json {
		doc := struct {
			Torque float64      `json:"held_torque_nm"`
			Points []holdPoint  `json:"points"`
			Least  holdPoint    `json:"least_airflow"`
			MBT    record.Cycle `json:"mbt"` // at the manifold pressure of the least airflow
			Meta   meta         `json:"meta"`
		}{torque, nil, holdPointOf(&least, &least), record.Of(&mbt.Operating, mbt.Lit, &mbt.Indicators), m}
		for i := range points {
			doc.Points = append(doc.Points, holdPointOf(&points[i], &least))
		}
		return writeJSON(cmd.OutOrStdout(), doc)
	}
	return printHold(cmd.OutOrStdout(), points, &least, &mbt, title, c.plot == "")
}

// printHold writes the table and, with sketch, airflow against spark as text.
func printHold(w io.Writer, points []sweep.Point, least, mbt *sweep.Point, title string, sketch bool) error {
	fmt.Fprintln(w, title)
	fmt.Fprintln(w)
	fmt.Fprintln(w, "       spark      MAP  airflow  against      LPP     CA50     Pmax  residual  indicated    knock")
	fmt.Fprintln(w, "    deg BTDC      kPa      g/s  least % deg ATDC deg ATDC      bar         % efficiency integral")
	boosted := false
	line := func(mark string, p *sweep.Point) {
		q := holdPointOf(p, least)
		fmt.Fprintf(w, "%-5s %6s", mark, text("%.1f", q.SparkDegBTDC))
		if q.Missing != "" {
			fmt.Fprintln(w, "  "+plain(q.Missing))
			return
		}
		boosted = boosted || p.Operating.MAP > 101325
		fmt.Fprintf(w, " %8s %8s %8s %8s %8s %8s %9s %10s %8s\n", text("%.2f", q.MAPKPa), text("%.3f", q.AirflowGS), percent("%.2f", q.AirflowExcess, 1),
			text("%.1f", q.LPPDegATDC), text("%.1f", q.CA50DegATDC), text("%.2f", q.PmaxBar), percent("%.1f", q.ResidualFraction, 1),
			text("%.4f", q.IndicatedEfficiency), text("%.3f", q.KnockIntegral))
	}
	for i := range points {
		line("", &points[i])
	}
	fmt.Fprintln(w)
	line("least", least)
	at := record.Of(&mbt.Operating, mbt.Lit, &mbt.Indicators)
	fmt.Fprintf(w, "MBT at the manifold pressure of the least airflow: %s deg BTDC\n", text("%.1f", at.SparkDegBTDC))
	if boosted {
		fmt.Fprintln(w, "A MAP above 101.3 kPa takes more than an open throttle.")
	}
	if sketch {
		fmt.Fprintln(w)
		if err := sketchHold(w, points, least); err != nil {
			return err
		}
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, wrap(record.Caution, 96))
	return nil
}
