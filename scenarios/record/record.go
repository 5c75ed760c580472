// Package record gives cycles the names and units of files, JSON and tables:
// one place where SI and radians become what a person reads.
package record

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"phasebench/model"
	"phasebench/solve"
)

// Cycle is the indicators of one cycle; the tags are a contract. A nil is a
// number that the cycle does not have.
type Cycle struct {
	SpeedRPM            *float64 `json:"speed_rpm"`
	MAPKPa              *float64 `json:"map_kpa"`
	Lambda              *float64 `json:"lambda"`
	SparkDegBTDC        *float64 `json:"spark_deg_btdc"`
	Lit                 bool     `json:"lit"`
	LPPDegATDC          *float64 `json:"lpp_deg_atdc"`
	PmaxBar             *float64 `json:"pmax_bar"`
	CA10DegATDC         *float64 `json:"ca10_deg_atdc"`
	CA50DegATDC         *float64 `json:"ca50_deg_atdc"`
	CA90DegATDC         *float64 `json:"ca90_deg_atdc"`
	DevelopmentDeg      *float64 `json:"development_deg"`
	RapidBurnDeg        *float64 `json:"rapid_burn_deg"`
	IMEPGrossBar        *float64 `json:"imep_gross_bar"`
	IMEPNetBar          *float64 `json:"imep_net_bar"`
	PMEPBar             *float64 `json:"pmep_bar"`
	FMEPBar             *float64 `json:"fmep_bar"`
	BMEPBar             *float64 `json:"bmep_bar"`
	BrakeTorqueNm       *float64 `json:"brake_torque_nm"`
	BrakePowerKW        *float64 `json:"brake_power_kw"`
	IndicatedEfficiency *float64 `json:"indicated_efficiency"`
	HeatLossFraction    *float64 `json:"heat_loss_fraction"`
	ResidualFraction    *float64 `json:"residual_fraction"`
	VolumetricEff       *float64 `json:"volumetric_efficiency"`
	AirflowGS           *float64 `json:"airflow_g_s"`
	PeakMeanK           *float64 `json:"peak_mean_k"`
	PeakUnburnedK       *float64 `json:"peak_unburned_k"`
	PeakBurnedK         *float64 `json:"peak_burned_k"`
	KnockIntegral       *float64 `json:"knock_integral"`
	KnockOnsetDegATDC   *float64 `json:"knock_onset_deg_atdc"`
	KnockUnburned       *float64 `json:"knock_unburned_fraction"`
	KnockIntensityBar   *float64 `json:"knock_intensity_bar"`
	BlowbyFraction      *float64 `json:"blowby_fraction"`
	SplitDeg            *float64 `json:"trailing_split_deg"`
	SampledWork         *float64 `json:"sampled_work_residual"`
	EnergyResidual      *float64 `json:"energy_residual"`
	MassResidual        *float64 `json:"mass_residual"`
}

const (
	deg = math.Pi / 180
	rpm = 2 * math.Pi / 60
	bar = 1e5
)

// Number returns v over unit, or nil if v is NaN or infinite.
func Number(v, unit float64) *float64 {
	v /= unit
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Of names the numbers of a cycle at op.
func Of(op *model.Operating, lit bool, i *solve.Indicators) Cycle {
	return Cycle{
		SpeedRPM: Number(op.Speed, rpm), MAPKPa: Number(op.MAP, 1e3), Lambda: Number(op.Lambda, 1), SparkDegBTDC: Number(op.Spark, deg),
		Lit: lit, LPPDegATDC: Number(i.LPP, deg), PmaxBar: Number(i.Peak, bar),
		CA10DegATDC: Number(i.CA10, deg), CA50DegATDC: Number(i.CA50, deg), CA90DegATDC: Number(i.CA90, deg),
		DevelopmentDeg: Number(i.Development, deg), RapidBurnDeg: Number(i.Rapid, deg),
		IMEPGrossBar: Number(i.IMEPGross, bar), IMEPNetBar: Number(i.IMEPNet, bar), PMEPBar: Number(i.PMEP, bar),
		FMEPBar: Number(i.FMEP, bar), BMEPBar: Number(i.BMEP, bar),
		BrakeTorqueNm: Number(i.Torque, 1), BrakePowerKW: Number(i.Power, 1e3),
		IndicatedEfficiency: Number(i.Efficiency, 1), HeatLossFraction: Number(i.HeatLoss, 1),
		ResidualFraction: Number(i.Residual, 1), VolumetricEff: Number(i.Volumetric, 1), AirflowGS: Number(i.Airflow, 1e-3),
		PeakMeanK: Number(i.PeakTemp, 1), PeakUnburnedK: Number(i.PeakUnburned, 1), PeakBurnedK: Number(i.PeakBurned, 1),
		KnockIntegral: Number(i.KnockIntegral, 1), KnockOnsetDegATDC: Number(i.KnockOnset, deg),
		KnockUnburned: Number(i.KnockUnburned, 1), KnockIntensityBar: Number(i.KnockIntensity, bar),
		BlowbyFraction: Number(i.Blowby, 1), SplitDeg: Number(op.Split, deg),
		SampledWork: Number(i.SampledWork, 1), EnergyResidual: Number(i.EnergyResidual, 1), MassResidual: Number(i.MassResidual, 1),
	}
}

// column is one column of a trace.
type column struct {
	name   string
	unit   float64
	values func(*solve.Cycle) []float64
}

var columns = []column{
	{"theta_deg_atdc", deg, func(c *solve.Cycle) []float64 { return c.Theta }},
	{"volume_cm3", 1e-6, func(c *solve.Cycle) []float64 { return c.Volume }},
	{"pressure_bar", bar, func(c *solve.Cycle) []float64 { return c.Pressure }},
	{"motored_bar", bar, func(c *solve.Cycle) []float64 { return c.Motored }},
	{"temperature_k", 1, func(c *solve.Cycle) []float64 { return c.Temp }},
	{"unburned_k", 1, func(c *solve.Cycle) []float64 { return c.Unburned }},
	{"burned_k", 1, func(c *solve.Cycle) []float64 { return c.Hot }},
	{"mass_mg", 1e-6, func(c *solve.Cycle) []float64 { return c.Mass }},
	{"intake_flow_mg_per_deg", 1e-6 / deg, func(c *solve.Cycle) []float64 { return c.Intake }},
	{"exhaust_flow_mg_per_deg", 1e-6 / deg, func(c *solve.Cycle) []float64 { return c.Exhaust }},
	{"burned_gas_fraction", 1, func(c *solve.Cycle) []float64 { return c.Composition }},
	{"burned_fraction", 1, func(c *solve.Cycle) []float64 { return c.Burned }},
	{"heat_release_j_per_deg", 1 / deg, func(c *solve.Cycle) []float64 { return c.Release }},
	{"wall_heat_j", 1, func(c *solve.Cycle) []float64 { return c.WallHeat }},
	{"knock_integral", 1, func(c *solve.Cycle) []float64 { return c.Knock }},
}

// Samples returns a column of a trace, in SI, and the unit that its name has in SI; it
// panics if there is no such column.
func Samples(c *solve.Cycle, name string) (values []float64, unit float64) {
	for _, k := range columns {
		if k.name == name {
			return k.values(c), k.unit
		}
	}
	panic("record: no column " + name)
}

// Notes writes each line of notes behind "# ", for the head of a file.
func Notes(w io.Writer, notes []string) error {
	for _, n := range notes {
		for line := range strings.FieldsFuncSeq(n, func(r rune) bool { return r == '\n' || r == '\r' }) {
			if _, err := fmt.Fprintf(w, "# %s\n", line); err != nil {
				return err
			}
		}
	}
	return nil
}

// Trace writes the samples of c as CSV (RFC 4180, a header line; an empty
// field is a value that the cycle does not have there). Each line of notes
// goes before the header behind "# ".
func Trace(w io.Writer, c *solve.Cycle, notes []string) error {
	if err := Notes(w, notes); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	row := make([]string, 0, len(columns))
	for _, k := range columns {
		if len(k.values(c)) > 0 {
			row = append(row, k.name)
		}
	}
	if err := out.Write(row); err != nil {
		return err
	}
	for i := range c.Theta {
		row = row[:0]
		for _, k := range columns {
			v := k.values(c)
			if len(v) == 0 {
				continue
			}
			if x := Number(v[i], k.unit); x != nil {
				row = append(row, strconv.FormatFloat(*x, 'g', 9, 64))
			} else {
				row = append(row, "")
			}
		}
		if err := out.Write(row); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}
