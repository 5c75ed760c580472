package traces

import (
	"math"

	"phasebench/scenarios/dataset"
	"phasebench/scenarios/stream"
)

const (
	deg = math.Pi / 180
	rpm = 2 * math.Pi / 60
	bar = 1e5
)

// label is one column of what is true of a cycle.
type label struct {
	name, unit, about string
	kind              dataset.Kind
	scale             float64
	of                func(*stream.Cycle) float64
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// labels are the columns of every dataset; their names are a contract.
var labels = []label{
	{"cycle", "", "number of the cycle in the stream", dataset.Whole, 1, func(c *stream.Cycle) float64 { return float64(c.Number) }},
	{"speed_rpm", "rpm", "mean shaft speed of the cycle", dataset.Number, rpm, func(c *stream.Cycle) float64 { return c.Clock.Speed }},
	{"map_kpa", "kPa", "manifold absolute pressure", dataset.Number, 1e3, func(c *stream.Cycle) float64 { return c.Operating.MAP }},
	{"lambda", "", "relative air-fuel ratio, mean of the operating point", dataset.Number, 1, func(c *stream.Cycle) float64 { return c.Operating.Lambda }},
	{"spark_deg_btdc", "deg", "spark advance, positive before dead centre", dataset.Number, deg, func(c *stream.Cycle) float64 { return c.Operating.Spark }},
	{"mbt_deg_btdc", "deg", "spark advance of maximum brake torque of the mean cycle there", dataset.Number, deg, func(c *stream.Cycle) float64 { return c.MBT }},
	{"spark_from_mbt_deg", "deg", "spark less MBT: positive is over-advanced", dataset.Number, deg, func(c *stream.Cycle) float64 { return c.Operating.Spark - c.MBT }},
	{"lpp_deg_atdc", "deg", "location of peak pressure", dataset.Number, deg, func(c *stream.Cycle) float64 { return c.LPP }},
	{"pmax_bar", "bar", "peak pressure", dataset.Number, bar, func(c *stream.Cycle) float64 { return c.Peak }},
	{"ca10_deg_atdc", "deg", "10 % of what burns has burned", dataset.Number, deg, func(c *stream.Cycle) float64 { return c.CA10 }},
	{"ca50_deg_atdc", "deg", "50 %", dataset.Number, deg, func(c *stream.Cycle) float64 { return c.CA50 }},
	{"ca90_deg_atdc", "deg", "90 %", dataset.Number, deg, func(c *stream.Cycle) float64 { return c.CA90 }},
	{"imep_gross_bar", "bar", "work between the greatest volumes about firing, over swept volume", dataset.Number, bar, func(c *stream.Cycle) float64 { return c.IMEPGross }},
	{"imep_net_bar", "bar", "work of the whole row, over swept volume", dataset.Number, bar, func(c *stream.Cycle) float64 { return c.IMEPNet }},
	{"bmep_bar", "bar", "net less friction", dataset.Number, bar, func(c *stream.Cycle) float64 { return c.BMEP }},
	{"brake_torque_nm", "N m", "mean of the cycle", dataset.Number, 1, func(c *stream.Cycle) float64 { return c.Torque }},
	{"lit", "", "the spark set the charge on fire", dataset.Flag, 1, func(c *stream.Cycle) float64 { return flag(c.Lit) }},
	{"burned_fraction", "", "share of the fresh charge that burned", dataset.Number, 1, func(c *stream.Cycle) float64 { return c.Burned }},
	{"misfire", "", "less than 20 % burned", dataset.Flag, 1, func(c *stream.Cycle) float64 { return flag(c.Misfire) }},
	{"partial_burn", "", "20 to 85 % burned", dataset.Flag, 1, func(c *stream.Cycle) float64 { return flag(c.PartialBurn) }},
	{"lambda_cylinder", "", "relative air-fuel ratio of this cycle's charge", dataset.Number, 1, func(c *stream.Cycle) float64 { return c.Truth.Lambda }},
	{"residual_fraction", "", "burned gas over charge at intake closing, by mass", dataset.Number, 1, func(c *stream.Cycle) float64 { return c.Residual }},
	{"charge_mg", "mg", "mass at intake closing", dataset.Number, 1e-6, func(c *stream.Cycle) float64 { return c.Charge }},
	{"knocking", "", "the end gas ignited by itself", dataset.Flag, 1, func(c *stream.Cycle) float64 { return flag(c.Knocking) }},
	{"knock_integral", "", "autoignition integral until 98 % are burned; above 1 it knocks", dataset.Number, 1, func(c *stream.Cycle) float64 { return c.KnockIntegral }},
	{"knock_onset_deg_atdc", "deg", "onset of knock", dataset.Number, deg, func(c *stream.Cycle) float64 { return c.KnockOnset }},
	{"knock_intensity_bar", "bar", "greatest amplitude of the ringing pressure, ordinary noise included", dataset.Number, bar, func(c *stream.Cycle) float64 { return c.KnockIntensity }},
}

// splitLabel is a label of engines with two plugs.
var splitLabel = label{"trailing_split_deg", "deg", "the trailing plug fires so much later", dataset.Number, deg,
	func(c *stream.Cycle) float64 { return c.Operating.Split }}
