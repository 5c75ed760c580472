package traces

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat"

	"phasebench/scenarios/chart"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// Quantity sums up one number of many cycles; nil: it cannot be had.
type Quantity struct {
	Name   string   `json:"-"` // with its unit, as in a dataset
	About  string   `json:"-"`
	Unit   string   `json:"-"`
	Format string   `json:"-"`
	Mean   *float64 `json:"mean"`
	SD     *float64 `json:"sd"`
	Skew   *float64 `json:"skew"`
	Lag    *float64 `json:"lag_1"` // correlation with the cycle before
}

// Summary sums up many cycles.
type Summary struct {
	Cycles     int        `json:"cycles"` // that it is about
	COV        *float64   `json:"cov_imep_gross"`
	MBT        *float64   `json:"mbt_deg_btdc"` // of the first of them
	Misfires   int        `json:"misfires"`
	Partial    int        `json:"partial_burns"`
	Knocking   int        `json:"knocking"`
	Quantities []Quantity `json:"-"`

	// For pictures: Ragged has all cycles in order and no traces, Overlaid begins
	// with those whose traces it has, spread evenly over all.
	Ragged, Overlaid chart.Ragged `json:"-"`
}

// Named lists the quantities by name.
func (s *Summary) Named() map[string]Quantity {
	all := map[string]Quantity{}
	for _, q := range s.Quantities {
		all[q.Name] = q
	}
	return all
}

// summed are the labels that are summed up.
var summed = []struct{ name, about, unit, format string }{
	{"imep_gross_bar", "IMEP gross", "bar", "%.3f"},
	{"imep_net_bar", "IMEP net", "bar", "%.3f"},
	{"lpp_deg_atdc", "LPP", "deg after dead centre", "%.2f"},
	{"pmax_bar", "peak pressure", "bar", "%.2f"},
	{"ca10_deg_atdc", "CA10", "deg after dead centre", "%.2f"},
	{"ca50_deg_atdc", "CA50", "deg after dead centre", "%.2f"},
	{"brake_torque_nm", "brake torque", "N m", "%.2f"},
	{"residual_fraction", "residual fraction", "-", "%.4f"},
	{"knock_intensity_bar", "knock intensity", "bar", "%.3f"},
}

// Summarise sums up the first count cycles of b, and keeps the traces of overlaid
// of them for pictures.
func (b *Bench) Summarise(ctx context.Context, count, overlaid int) (*Summary, error) {
	s := &Summary{Cycles: count}
	r, o := &s.Ragged, &s.Overlaid
	every := max(1, count/max(1, overlaid))
	keep := func(n int) bool { return n%every == 0 && n/every < overlaid }
	values := make([][]float64, len(summed))
	var of []*label
	for _, q := range summed {
		i := slices.IndexFunc(labels, func(l label) bool { return l.name == q.name })
		of = append(of, &labels[i])
	}
	var rig *sensor.Rig
	if b.Setup.Ion != nil {
		set := sensor.Setup{Ion: b.Setup.Ion}
		for _, f := range b.Setup.Faults {
			if slices.ContainsFunc(sensor.Kinds(), func(k sensor.FaultKind) bool { return k.Name == f.Name && k.Instrument == "ion" }) {
				set.Faults = append(set.Faults, f)
			}
		}
		var err error
		if rig, err = sensor.New(b.Stream.Engine(), set, b.Seed); err != nil {
			return nil, err
		}
	}
	var rec sensor.Record
	spark := math.NaN()
	for c, err := range b.Stream.Cycles(ctx, 0, count) {
		if err != nil {
			return nil, err
		}
		for i, l := range of {
			values[i] = append(values[i], l.of(c)/l.scale)
		}
		r.LPP, r.Peak, r.IMEP, r.Lit = append(r.LPP, c.LPP), append(r.Peak, c.Peak), append(r.IMEP, c.IMEPGross), append(r.Lit, !c.Misfire)
		s.count(c)
		if c.Number == 0 {
			spark, r.Spark = c.Operating.Spark, c.Operating.Spark
			o.Theta, o.Mean = slices.Clone(c.Theta), make([]float64, len(c.Theta))
			s.MBT = record.Number(c.MBT, deg)
		}
		if c.Operating.Spark != spark {
			r.Spark = math.NaN()
		}
		floats.AddScaled(o.Mean, 1/float64(count), c.Pressure)
		if rig != nil {
			if err := rig.Take(c, &rec); err != nil {
				return nil, err
			}
		}
		if !keep(c.Number) {
			continue
		}
		o.Pressure = append(o.Pressure, slices.Clone(c.Pressure))
		if rig != nil {
			ion := make([]float64, len(rec.Values[0]))
			for k, v := range rec.Values[0] {
				ion[k] = float64(v) * 1e-6
			}
			o.IonTheta, o.Ion = o.Theta, append(o.Ion, ion)
		}
	}
	o.Spark = r.Spark
	for _, kept := range []bool{true, false} {
		for i := range r.LPP {
			if keep(i) == kept {
				o.LPP, o.Peak, o.IMEP, o.Lit = append(o.LPP, r.LPP[i]), append(o.Peak, r.Peak[i]), append(o.IMEP, r.IMEP[i]), append(o.Lit, r.Lit[i])
			}
		}
	}
	for i, q := range summed {
		s.Quantities = append(s.Quantities, sum(q.name, q.about, q.unit, q.format, values[i]))
	}
	mean, sd := stat.MeanStdDev(r.IMEP, nil)
	s.COV = record.Number(sd/mean, 1)
	return s, nil
}

func (s *Summary) count(c *stream.Cycle) {
	if c.Misfire {
		s.Misfires++
	}
	if c.PartialBurn {
		s.Partial++
	}
	if c.Knocking {
		s.Knocking++
	}
}

// sum sums up v without the cycles that have none of it.
func sum(name, about, unit, format string, v []float64) Quantity {
	q := Quantity{Name: name, About: about, Unit: unit, Format: format}
	var have, now, before []float64
	for i, x := range v {
		if math.IsNaN(x) {
			continue
		}
		have = append(have, x)
		if i > 0 && !math.IsNaN(v[i-1]) {
			now, before = append(now, x), append(before, v[i-1])
		}
	}
	if len(have) == 0 {
		return q
	}
	q.Mean = record.Number(stat.Mean(have, nil), 1)
	if len(have) > 2 {
		q.SD, q.Skew = record.Number(stat.StdDev(have, nil), 1), record.Number(stat.Skew(have, nil), 1)
		q.Lag = record.Number(stat.Correlation(before, now, nil), 1)
	}
	return q
}
