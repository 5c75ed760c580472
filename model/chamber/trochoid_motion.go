package chamber

import "math"

// Apexes returns where the two apexes of the chamber stand at theta, as angles α
// of the housing's formula [rad]: the trailing one behind, the leading one ahead.
func (t *Trochoid) Apexes(theta float64) (trailing, leading float64) {
	middle := math.Pi/2 + theta/3
	return middle - math.Pi/3, middle + math.Pi/3
}

// Housing returns the point of the housing at the angle alpha [rad] of its
// formula, from the axis of the shaft [m]. An apex at alpha is there.
func (t *Trochoid) Housing(alpha float64) (x, y float64) {
	sin3, cos3 := math.Sincos(3 * alpha)
	sin, cos := math.Sincos(alpha)
	return t.e*cos3 + t.r*cos, t.e*sin3 + t.r*sin
}

// Flank returns the point v [rad] of a smooth flank, from the middle of the
// rotor [m]: v is 0 at one apex, which lies on the x axis, and 2π/3 at the next.
//
// Seen from the rotor, the point of the housing v ahead of an apex runs round a
// circle of radius ρ = 2e sin(3v/2) about R(cos v, sin v) while the rotor turns.
// The inner envelope of these circles, with sin φ = ρ'/R, ρ' = 3e cos(3v/2), is
//
//	w = R (cos v, sin v) − ρ (cos(v+φ), sin(v+φ))
//
// and |dw/dv| = R cos φ − ρ + 9ρ²/(4R cos φ) > 0 as long as R > 3e.
func (t *Trochoid) Flank(v float64) (x, y float64) {
	sin, cos := math.Sincos(1.5 * v)
	rho, phi := 2*t.e*sin, math.Asin(3*t.e*cos/t.r)
	return t.r*math.Cos(v) - rho*math.Cos(v+phi), t.r*math.Sin(v) - rho*math.Sin(v+phi)
}

// Leaning returns the angle from the normal of the housing to the middle line of
// the apex seal that stands at alpha [rad]; it is at most asin(3e/R) either way.
func (t *Trochoid) Leaning(alpha float64) float64 {
	sin, cos := math.Sincos(2 * alpha)
	return math.Atan2(3*t.e*sin, t.r+3*t.e*cos)
}
