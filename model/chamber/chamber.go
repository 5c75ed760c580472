// Package chamber gives the volume of a working chamber, its rate of change
// and its wall area against shaft angle.
//
// Angles are radians of the output shaft, zero where the volume is least at
// firing. Nothing here fixes how many radians a cycle takes: ask Strokes.
package chamber

// Chamber is a volume law.
type Chamber interface {
	// Volume returns V [m³] and dV/dθ [m³/rad] at theta [rad].
	Volume(theta float64) (v, dv float64)
	// Walls returns the area that exchanges heat with the gas at theta [rad].
	Walls(theta float64) Walls
	// Strokes returns where one cycle begins, turns and ends.
	Strokes() Strokes
	// Swept is the greatest less the least volume [m³].
	Swept() float64
	// Bore is the length scale of wall-heat correlations [m].
	Bore() float64
	// MeanSpeed is the mean speed of the moving wall [m/s], the velocity
	// scale of wall-heat and friction correlations, at shaft speed omega
	// [rad/s].
	MeanSpeed(omega float64) float64
}

// Walls is the wetted area by part [m²].
type Walls struct {
	Head   float64 // the fixed end wall
	Piston float64 // the moving wall
	Liner  float64 // the side wall that the moving wall covers and uncovers
}

// Strokes lists the dead centres of one cycle [rad], in order; firing dead
// centre is 0, between Compression and Exhaust.
type Strokes struct {
	Start       float64 // gas-exchange dead centre: the cycle begins
	Compression float64 // greatest volume before firing
	Exhaust     float64 // greatest volume after firing
	End         float64 // gas-exchange dead centre: the cycle ends
}

// Period is the shaft angle of one cycle [rad].
func (s Strokes) Period() float64 { return s.End - s.Start }

// Clearance returns the least volume [m³] of a chamber that sweeps swept [m³]
// at compression ratio ratio [-], > 1.
func Clearance(swept, ratio float64) float64 { return swept / (ratio - 1) }

// Ratio returns the compression ratio [-] of a chamber that sweeps swept [m³]
// above the clearance [m³], > 0.
func Ratio(swept, clearance float64) float64 { return 1 + swept/clearance }
