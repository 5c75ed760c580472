package sensor

import "math"

// Saitzkoff, Reinmann, Berglind and Glavmo, SAE 960337, 1996 (from memory): NO is
// the donor of the electrons, at a constant voltage between the electrodes.
const (
	ionising  = 9.26                     // E₁, energy to ionise NO [eV]
	boltzmann = 8.617333262e-5           // k [eV/K], from memory
	halfTemp  = ionising / 2 / boltzmann // E₁/2k [K]
)

// The state at which saha is 1. Our own choice: about that of the gas at the plug
// of the pump set at 2000 rpm, full load and its peak pressure.
const (
	refTemp     = 2790.    // [K]
	refPressure = 45 * bar // [Pa]
)

// saha is the shape of the current through gas at p [Pa] and t [K], both > 0: by
// Saha's equation the share of NO ionised grows as its square root, and the
// drift of electrons falls with collisions,
//
//	(t/t₀)^(3/4)·(p/p₀)^(−1/2)·exp(−E₁/2k·(1/t − 1/t₀)).
//
// Along an isentrope that is the reduced form I/Im of the paper. The absolute
// level of the formula is far above what is measured, so the level is set apart.
func saha(p, t float64) float64 {
	t0 := t / refTemp
	return math.Sqrt(t0*math.Sqrt(t0)*(refPressure/p)) * math.Exp(-halfTemp*(1/t-1/refTemp))
}
