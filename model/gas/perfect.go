package gas

import "math"

// Perfect is a gas of constant specific heats,
//
//	u = R·T/(γ−1) + U0,  s = cp·ln(T/298.15 K) − R·ln(p/1 bar).
//
// Burned gas of a heat-release cycle is the same gas with U0 lowered by the
// heat. A value out of range gives NaN properties. Safe for many goroutines.
type Perfect struct {
	R     float64 // gas constant [J/kg/K], > 0
	Gamma float64 // ratio of specific heats [-], > 1
	U0    float64 // internal energy at 0 K [J/kg]
}

// ColdAir is the air of cold-air handbook cycles.
var ColdAir = Perfect{R: 287, Gamma: 1.4}

// Props implements Gas.
func (g Perfect) Props(t, p float64, dst *Props) {
	if !legal(t, p) || !(g.R > 0) || !(g.Gamma > 1) {
		dst.noAnswer()
		return
	}
	cv := g.R / (g.Gamma - 1)
	u := cv*t + g.U0
	*dst = Props{
		V: g.R * t / p, U: u, H: u + g.R*t,
		S:  (cv+g.R)*math.Log(t/tRef) - g.R*math.Log(p/P0),
		Cp: cv + g.R, VT: 1, VP: -1,
	}
}
