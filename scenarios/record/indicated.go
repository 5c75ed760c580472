package record

import (
	"phasebench/scenarios/indicate"
	"phasebench/scenarios/measured"
)

// Mean is a mean of many cycles, with its error's two parts.
type Mean struct {
	Value      *float64 `json:"value"`
	Random     *float64 `json:"error_random"`     // falls with the number of cycles
	Systematic *float64 `json:"error_systematic"` // does not
	SD         *float64 `json:"sd"`
}

func meanOf(m *indicate.Mean, unit float64) Mean {
	return Mean{Number(m.Value, unit), Number(m.Random, unit), Number(m.Systematic, unit), Number(m.SD, unit)}
}

// Indicated is what a recording comes to, as JSON.
type Indicated struct {
	Cycles     int        `json:"cycles"`
	Broken     int        `json:"broken_cycles"`
	Rows       int64      `json:"rows"`
	RateHz     *float64   `json:"rate_hz"`
	SpeedRPM   *float64   `json:"speed_rpm"`
	SpeedLow   *float64   `json:"speed_least_rpm"`
	SpeedHigh  *float64   `json:"speed_greatest_rpm"`
	FirstDeg   *float64   `json:"reference_deg_atdc"`
	Flaws      []Flaw     `json:"flaws,omitempty"`
	FlawCount  int        `json:"flaw_count"`
	Warnings   []string   `json:"warnings,omitempty"`
	LPP        Mean       `json:"lpp_deg_atdc"`
	Pmax       Mean       `json:"pmax_bar"`
	IMEPGross  Mean       `json:"imep_gross_bar"`
	IMEPNet    Mean       `json:"imep_net_bar"`
	PMEP       Mean       `json:"pmep_bar"`
	CA10       Mean       `json:"ca10_deg_atdc"`
	CA50       Mean       `json:"ca50_deg_atdc"`
	CA90       Mean       `json:"ca90_deg_atdc"`
	RatioCA10  Mean       `json:"ca10_pressure_ratio_deg_atdc"` // by Rassweiler and Withrow
	RatioCA50  Mean       `json:"ca50_pressure_ratio_deg_atdc"`
	RatioCA90  Mean       `json:"ca90_pressure_ratio_deg_atdc"`
	Comp       Mean       `json:"compression_exponent"`
	Expansion  Mean       `json:"expansion_exponent"`
	Heat       Mean       `json:"heat_released_j"`
	Zero       Mean       `json:"zero_added_bar"`
	COVGross   *float64   `json:"cov_imep_gross_percent"`
	COVNet     *float64   `json:"cov_imep_net_percent"`
	LNV        *float64   `json:"lowest_normalised_value"`
	LPPAt      []*float64 `json:"lpp_quantiles_deg_atdc"` // 5, 25, 50, 75, 95 %
	Neighbours *float64   `json:"imep_correlation_with_next"`
	Misfires   int        `json:"misfires"`
	Partial    int        `json:"partial_burns"`
	Knocking   *float64   `json:"knocking_share"` // null: not looked for
	MAPO       Mean       `json:"mapo_bar"`
	Onset      Mean       `json:"knock_onset_deg_atdc"`
}

// Flaw is what was wrong with a recording, and where.
type Flaw struct {
	Where string `json:"where"`
	What  string `json:"what"`
}

// OfIndicated makes the record of s, which a recording of report came to.
func OfIndicated(s *indicate.Summary, report *measured.Report) Indicated {
	out := Indicated{Cycles: report.Cycles, Broken: report.Lost, Rows: report.Rows, RateHz: Number(report.Rate, 1), SpeedRPM: Number(report.Speed[0], rpm),
		SpeedLow: Number(report.Speed[1], rpm), SpeedHigh: Number(report.Speed[2], rpm), FirstDeg: Number(report.First, deg), FlawCount: report.FlawCount, Warnings: report.Warnings,
		LPP: meanOf(&s.LPP, deg), Pmax: meanOf(&s.Peak, bar), IMEPGross: meanOf(&s.IMEPGross, bar), IMEPNet: meanOf(&s.IMEPNet, bar), PMEP: meanOf(&s.PMEP, bar),
		CA10: meanOf(&s.CA10, deg), CA50: meanOf(&s.CA50, deg), CA90: meanOf(&s.CA90, deg),
		RatioCA10: meanOf(&s.RatioCA10, deg), RatioCA50: meanOf(&s.RatioCA50, deg), RatioCA90: meanOf(&s.RatioCA90, deg),
		Comp: meanOf(&s.Compression, 1), Expansion: meanOf(&s.Expansion, 1), Heat: meanOf(&s.Heat, 1), Zero: meanOf(&s.Zero, bar),
		COVGross: Number(s.COVGross, 0.01), COVNet: Number(s.COVNet, 0.01), LNV: Number(s.LNV, 1), Neighbours: Number(s.Neighbours, 1),
		Misfires: s.Misfires, Partial: s.Partial, Knocking: Number(s.Knocking, 1), MAPO: meanOf(&s.MAPO, bar), Onset: meanOf(&s.Onset, deg)}
	for _, f := range report.Flaws {
		out.Flaws = append(out.Flaws, Flaw{f.Where, f.What})
	}
	for _, q := range s.LPPAt {
		out.LPPAt = append(out.LPPAt, Number(q, deg))
	}
	return out
}
