// Package friction gives the mean effective pressure lost to rubbing and
// auxiliaries, pumping excluded.
package friction

// ChenFlynn is FMEP = A + B·pmax + C·Sp + D·Sp². Source: S.K. Chen and
// P.F. Flynn, SAE 650733, 1965; the split into four terms and the usual size
// of the coefficients are common practice (from memory): A 0.3 to 0.5 bar,
// B 0.004 to 0.006, C 0.08 to 0.10 bar/(m/s), D 0.0006 to 0.0012 bar/(m/s)².
type ChenFlynn struct {
	Constant float64 // A [Pa], >= 0
	Peak     float64 // B [-], >= 0
	Linear   float64 // C [Pa/(m/s)], >= 0
	Square   float64 // D [Pa/(m/s)²], >= 0
}

// FMEP returns the friction mean effective pressure [Pa] at peak cylinder
// pressure peak [Pa] and mean piston speed [m/s].
func (f ChenFlynn) FMEP(peak, speed float64) float64 {
	return f.Constant + f.Peak*peak + f.Linear*speed + f.Square*speed*speed
}
