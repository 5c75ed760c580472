package record

import (
	"math"

	"phasebench/scenarios/fit"
)

// Fit is an engine fitted to a recording, as JSON.
type Fit struct {
	FiredCycles   int                `json:"fired_cycles"`
	MotoredCycles int                `json:"motored_cycles"`
	Parameters    []FitParameter     `json:"parameters"`
	Correlation   [][]float64        `json:"correlation"` // of the errors, in the order of parameters
	ChargeMg      float64            `json:"charge_mg"`
	ChargeErrorMg float64            `json:"charge_error_mg"`
	HeatingK      float64            `json:"charge_heating_k"`
	LeftBar       float64            `json:"left_rms_bar"`
	Misfit        float64            `json:"left_over_scatter"` // about 1: the scatter of the cycles explains it
	Starts        []*float64         `json:"start_costs"`       // null: it failed
	Knobs         map[string]float64 `json:"knobs,omitempty"`
	Recorded      *FitSpread         `json:"recorded,omitempty"`
	Imitated      *FitSpread         `json:"imitated,omitempty"`
}

// FitParameter is one parameter of a Fit, in its own unit.
type FitParameter struct {
	Name     string     `json:"name"`
	Unit     string     `json:"unit"`
	Start    float64    `json:"start"`
	Value    float64    `json:"value"`
	Error    float64    `json:"error"`
	Interval [2]float64 `json:"interval_95"`
	AtBound  bool       `json:"at_bound"`
}

// FitSpread is how far cycles differ.
type FitSpread struct {
	Cycles      int     `json:"cycles"`
	Development float64 `json:"sd_ln_development"`
	Rapid       float64 `json:"sd_ln_rapid_burn"`
	Link        float64 `json:"link"`
	COV         float64 `json:"cov_imep_gross_percent"`
	LPP         float64 `json:"sd_lpp_deg"`
	CA50        float64 `json:"sd_ca50_deg"`
	Misfire     float64 `json:"misfire_percent"`
}

// OfFit makes the record of a fit.
func OfFit(r *fit.Result, d *fit.Data) Fit {
	const mg = 1e-6
	out := Fit{FiredCycles: len(d.Fired), MotoredCycles: len(d.Motored), Correlation: r.Correlation, ChargeMg: r.ChargeMass.Value / mg, ChargeErrorMg: r.ChargeMass.Error / mg,
		HeatingK: r.Heating, LeftBar: r.RMS / bar, Misfit: r.Misfit}
	for i := range r.Parameters {
		p := &r.Parameters[i]
		out.Parameters = append(out.Parameters, FitParameter{p.Name, p.Unit, p.Start / p.By, p.Value / p.By, p.Error / p.By, [2]float64{p.Interval[0] / p.By, p.Interval[1] / p.By}, p.AtBound})
	}
	for _, s := range r.Starts {
		cost := s.Cost
		if math.IsInf(cost, 0) {
			cost = math.NaN()
		}
		out.Starts = append(out.Starts, Number(cost, 1))
	}
	if m := r.Imitation; m != nil {
		out.Knobs = m.Knobs.Map()
		of := func(s *fit.Spread) *FitSpread {
			return &FitSpread{s.Cycles, s.Development, s.Rapid, s.Link, 100 * s.COV, s.LPP / deg, s.CA50 / deg, 100 * s.Misfire}
		}
		out.Recorded, out.Imitated = of(&m.Recorded), of(&m.Imitated)
	}
	return out
}
