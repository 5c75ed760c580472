package valve

import "math"

// Band is the part of the upstream pressure [-] below which a pressure
// difference no longer drives the flow by its square root, whose slope at zero
// is infinite and would force an integrator to a standstill. There the flow is
// the odd cubic of the pressure difference that takes over with the same value
// and slope. A given flow then needs a difference larger by at most 0.17·Band
// of the pressure, 17 Pa at 1 bar; the flow is less by at most 1.3 % of the
// choked one.
const Band = 1e-3

// Flow returns the mass flow [kg/s] out of a vessel at rest at pUp [Pa] and
// tUp [K] through the effective area [m²] into pDown [Pa]. The gas has the gas
// constant rUp [J/kg/K] and the ratio of specific heats gammaUp > 1, fixed:
//
//	ṁ = A·p₀/√(R·T₀)·ψ,  ψ = π^(1/γ) √(2γ/(γ−1)·(1 − π^((γ−1)/γ))),  π = p/p₀
//
// and, choked at π <= (2/(γ+1))^(γ/(γ−1)), ψ = √γ (2/(γ+1))^((γ+1)/(2(γ−1))).
// Source: Heywood, Internal Combustion Engine Fundamentals, 1988, appendix C.
// Above 1 − Band see there. It is 0 for pDown > pUp; Between swaps the sides.
func Flow(area, pUp, tUp, rUp, gammaUp, pDown float64) float64 {
	if area == 0 || pDown >= pUp {
		return 0
	}
	if d := (pUp - pDown) / pUp; d < Band {
		return area * pUp / math.Sqrt(rUp*tUp) * gentle(d, gammaUp)
	}
	return area * pUp / math.Sqrt(rUp*tUp) * psi(pDown/pUp, gammaUp)
}

// Between returns the mass flow [kg/s] through the effective area [m²] from
// side 1 to side 2, negative if it runs back. Each side has its pressure [Pa],
// temperature [K], gas constant [J/kg/K] and ratio of specific heats; those of
// the side the gas comes from count, as in Flow. Only within Band the two are
// blended, so that value and slope stay continuous where the flow turns, and
// the flow grows with p1 as long as √(RT) of the two is within fourfold. What
// it carries still belongs to the side it comes from by its sign.
func Between(area, p1, t1, r1, gamma1, p2, t2, r2, gamma2 float64) float64 {
	if area == 0 {
		return 0
	}
	var d float64 // pressure difference over the upstream pressure, with its sign
	if p1 >= p2 {
		d = (p1 - p2) / p1
		if d >= Band {
			return area * p1 / math.Sqrt(r1*t1) * psi(p2/p1, gamma1)
		}
	} else {
		d = (p1 - p2) / p2
		if d <= -Band {
			return -area * p2 / math.Sqrt(r2*t2) * psi(p1/p2, gamma2)
		}
	}
	s := d / Band
	w := 0.5 + s*(0.75-0.25*s*s) // 0 to 1, without slope at both ends
	return area * (w*p1/math.Sqrt(r1*t1)*gentle(d, gamma1) + (1-w)*p2/math.Sqrt(r2*t2)*gentle(d, gamma2))
}

// psi is ψ at the pressure ratio pi < 1.
func psi(pi, gamma float64) float64 {
	// Up to γ = 5/3 the flow is choked at π = 0.48 and below.
	if !(pi <= 0.48 && gamma <= 5./3) {
		y := math.Exp((gamma - 1) / gamma * math.Log(pi))
		if !(y <= 2/(gamma+1)) {
			return pi / y * math.Sqrt(2*gamma/(gamma-1)*(1-y))
		}
	}
	return math.Sqrt(gamma) * math.Exp((gamma+1)/(2*(gamma-1))*math.Log(2/(gamma+1)))
}

// logEdge is ln(1 − Band).
var logEdge = math.Log1p(-Band)

// gentle is the odd cubic in d = 1 − π that meets ψ and its slope at Band.
func gentle(d, gamma float64) float64 {
	q := (gamma - 1) / gamma * logEdge
	loss := -q * (1 + q/2*(1+q/3*(1+q/4))) // 1 − y = 1 − e^q to rounding, |q| < Band
	y := 1 - loss
	value := (1 - Band) / y * math.Sqrt(2*gamma/(gamma-1)*loss)
	// d·dψ/dd at d = Band, from the derivative of ln ψ.
	slope := value * Band / (gamma * (1 - Band)) * ((gamma-1)/2*y/loss - 1)
	s := d / Band
	return s * ((3*value-slope)/2 + (slope-value)/2*s*s)
}
