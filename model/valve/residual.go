package valve

import "math"

// OverlapFactor returns the overlap factor of Fox, Cheng and Heywood [rad/m],
// the area under the lower of the two lifts in the overlap times the valve
// diameter over the swept volume, by their fit
//
//	OF = 1.45/B·(107 + 7.8Δ + Δ²)·L·D/B²
//
// with OF [deg/m], the leading B [mm] and the overlap Δ [deg]. It takes the
// bore [m], the overlap [rad] between intake opening and exhaust closing, the
// peak lift [m] and the inner seat diameter [m]; a negative overlap counts as
// none. Source: as FoxResidual. In memory the unit of the leading B was lost:
// only mm agrees with the definition and with residuals in use.
func OverlapFactor(bore, overlap, lift, diameter float64) float64 {
	deg := 180 / math.Pi * math.Max(overlap, 0)
	return math.Pi / 180 * 1.45 / (1e3 * bore) * (107 + deg*(7.8+deg)) * lift * diameter / (bore * bore)
}

// FoxResidual returns the residual mass fraction [-] of the charge of a
// spark-ignition engine,
//
//	x = 1.266·OF/N·(pi/pe)^-0.87·√|pe−pi| + 0.632·φ·(pi/pe)^-0.74/rc
//
// with OF [deg/m], N [rev/s], p [bar]. It takes the overlap factor [rad/m], the
// crank speed omega [rad/s], the intake and exhaust pressures [Pa], the
// equivalence ratio phi [-] and the compression ratio [-]. The first term is
// what flows back in the overlap, the second what stays. Source: J.W. Fox,
// W.K. Cheng, J.B. Heywood, SAE 931025, 1993 (from memory, not confirmed).
func FoxResidual(factor, omega, intake, exhaust, phi, ratio float64) float64 {
	back := 1.266 * 360 * factor / omega * math.Pow(intake/exhaust, -0.87) * math.Sqrt(1e-5*math.Abs(exhaust-intake))
	return back + 0.632*phi*math.Pow(intake/exhaust, -0.74)/ratio
}
