package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/spf13/cobra"

	"phasebench/scenarios/chart"
	"phasebench/scenarios/record"
	"phasebench/solve"
)

func newCycle() *cobra.Command {
	var c common
	var trace, plotPV, plotGas string
	cmd := &cobra.Command{
		Use:   "cycle",
		Short: "one cycle: indicators, trace, picture",
		Long: `Solve one periodic cycle and print its indicators. --trace writes the samples,
--plot pressure and heat release against angle, --plot-pv log p over log V,
--plot-gas temperatures, flows through the valves and burned gas.`,
		Example: `  phasebench cycle --spark-deg 30
  phasebench cycle --engine small-196 --trace trace.csv --plot cycle.svg`,
		Args: noArgs,
	}
	c.register(cmd.Flags())
	c.complete(cmd)
	cmd.Flags().StringVar(&trace, "trace", "", "write the samples as CSV to this `FILE`")
	cmd.Flags().StringVar(&plotPV, "plot-pv", "", "write log p over log V to this `FILE`: .svg, .png or .pdf")
	cmd.Flags().StringVar(&plotGas, "plot-gas", "", "write temperatures, mass flows and burned gas to this `FILE`: .svg, .png or .pdf")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := errors.Join(checkPicture("plot", c.plot), checkPicture("plot-pv", plotPV), checkPicture("plot-gas", plotGas)); err != nil {
			return err
		}
		if err := apart(cmd.Flags(), "trace", "plot", "plot-pv", "plot-gas"); err != nil {
			return err
		}
		e, err := c.load(cmd.Flags())
		if err != nil {
			return err
		}
		s, err := solve.New(e, &solve.Settings{Motored: true})
		if err != nil {
			return err
		}
		var one solve.Cycle
		if err := s.Run(&e.Point, &one); err != nil {
			return err
		}
		m := newMeta("cycle", c.seed, e)
		title := fmt.Sprintf("%s, spark %.4g deg before dead centre", place(e), e.Point.Spark/deg)
		if trace != "" {
			err := writeFile(trace, func(w io.Writer) error { return record.Trace(w, &one, m.notes()) })
			if err != nil {
				return err
			}
		}
		for _, x := range []struct {
			file string
			draw func(*solve.Cycle, string) *chart.Chart
		}{{c.plot, chart.Cycle}, {plotPV, chart.PV}, {plotGas, chart.Gas}} {
			if x.file == "" {
				continue
			}
			if err := m.picture(x.file, x.draw(&one, title)); err != nil {
				return err
			}
		}
		r := record.Of(&one.Operating, one.Lit, &one.Indicators)
		if c.json {
			return writeJSON(cmd.OutOrStdout(), struct {
				record.Cycle
				Unlit string `json:"unlit,omitempty"` // why
				Meta  meta   `json:"meta"`
			}{r, one.Unlit, m})
		}
		fmt.Fprintln(cmd.OutOrStdout(), title)
		printCycle(cmd.OutOrStdout(), &r, one.Unlit, e.Burn.Plugs == 2)
		if c.plot == "" && plotPV == "" && plotGas == "" {
			fmt.Fprintln(cmd.OutOrStdout())
			return sketchCycle(cmd.OutOrStdout(), &one)
		}
		return nil
	}
	return cmd
}

const deg = math.Pi / 180

// text writes a number that may be missing.
func text(format string, v *float64) string {
	if v == nil {
		return "none"
	}
	s := fmt.Sprintf(format, *v)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-") // no minus before a zero
	}
	return s
}

// printCycle lists the indicators of r with units; unlit is why it is not lit.
func printCycle(w io.Writer, r *record.Cycle, unlit string, twin bool) {
	if !r.Lit {
		fmt.Fprintf(w, "  the spark lights nothing: %s; this is the motored cycle\n", unlit)
	}
	type row struct{ name, value, unit string }
	rows := []row{
		{"location of peak pressure", text("%.1f", r.LPPDegATDC), "deg after dead centre"},
		{"peak pressure", text("%.2f", r.PmaxBar), "bar"},
		{"CA10, CA50, CA90", text("%.1f", r.CA10DegATDC) + ", " + text("%.1f", r.CA50DegATDC) + ", " + text("%.1f", r.CA90DegATDC), "deg after dead centre"},
		{"spark to CA10, CA10 to CA90", text("%.1f", r.DevelopmentDeg) + ", " + text("%.1f", r.RapidBurnDeg), "deg"},
		{"brake torque", text("%.2f", r.BrakeTorqueNm), "N m"},
		{"brake power", text("%.3f", r.BrakePowerKW), "kW"},
		{"IMEP gross, net", text("%.3f", r.IMEPGrossBar) + ", " + text("%.3f", r.IMEPNetBar), "bar"},
		{"PMEP, FMEP, BMEP", text("%.3f", r.PMEPBar) + ", " + text("%.3f", r.FMEPBar) + ", " + text("%.3f", r.BMEPBar), "bar"},
		{"indicated efficiency (gross)", text("%.4f", r.IndicatedEfficiency), "-"},
		{"wall heat over fuel energy", text("%.4f", r.HeatLossFraction), "-"},
		{"residual fraction", text("%.4f", r.ResidualFraction), "-"},
		{"volumetric efficiency", text("%.4f", r.VolumetricEff), "-"},
		{"airflow", text("%.3f", r.AirflowGS), "g/s"},
		{"blow-by over charge", text("%.4f", r.BlowbyFraction), "-"},
		{"peak unburned, burned gas", text("%.0f", r.PeakUnburnedK) + ", " + text("%.0f", r.PeakBurnedK), "K"},
		{"peak mean gas temperature", text("%.0f", r.PeakMeanK), "K"},
		{"knock integral", text("%.3f", r.KnockIntegral), "- (above 1 it knocks)"},
		{"knock onset", text("%.1f", r.KnockOnsetDegATDC), "deg after dead centre"},
		{"unburned then", text("%.4f", r.KnockUnburned), "of the charge"},
		{"knock intensity", text("%.2f", r.KnockIntensityBar), "bar"},
		{"energy, mass left unbalanced", text("%.1e", r.EnergyResidual) + ", " + text("%.1e", r.MassResidual), "of the cycle's total"},
	}
	if twin {
		rows = append(rows, row{"trailing behind leading plug", text("%.1f", r.SplitDeg), "deg"})
	}
	for _, row := range rows {
		fmt.Fprintf(w, "  %-30s %20s  %s\n", row.name, row.value, row.unit)
	}
}
