package chamber

import "math"

// Risen returns the part of the swept volume [-] by which the volume of c at
// theta [rad] is above that of the firing dead centre.
func Risen(c Chamber, theta float64) float64 {
	v, _ := c.Volume(theta)
	least, _ := c.Volume(0)
	return (v - least) / c.Swept()
}

// SameRise returns the angle [rad] at which chamber to has risen by as much of
// its swept volume as from has at theta [rad], on the same side of the firing
// dead centre. It is NaN unless theta is within compression and expansion of
// from. So an angle of best pressure peak known of a piston is carried over to a
// rotor, as far as it is a matter of volume alone.
func SameRise(from, to Chamber, theta float64) float64 {
	within, span := from.Strokes(), to.Strokes()
	if !(theta >= within.Compression && theta <= within.Exhaust) {
		return math.NaN()
	}
	want, low, high := Risen(from, theta), 0., span.Exhaust
	if theta < 0 {
		high = span.Compression
	}
	for range 60 {
		if mid := (low + high) / 2; Risen(to, mid) < want {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// DepthSpeed is the mean speed at which the mean depth of c over its flat wall,
// volume over π/4 Bore², changes at shaft speed omega [rad/s], in m/s. It is the mean
// piston speed of an engine with a piston, and of a rotor that of a piston with
// the same swept volume: the scale of turbulence in the charge (our own choice).
func DepthSpeed(c Chamber, omega float64) float64 {
	bore := c.Bore()
	return c.Swept() / (math.Pi / 4 * bore * bore) * omega / c.Strokes().Exhaust
}
