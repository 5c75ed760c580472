package wiebe

import "math"

// Climate is what the burn angles answer to.
type Climate struct {
	Speed     float64 // shaft speed [rad/s], > 0
	Viscosity float64 // kinematic viscosity of the unburned charge at firing dead centre [m²/s], > 0
	Flame     float64 // laminar flame speed at firing dead centre [m/s], > 0
}

// Base is a pair of burn angles with the climate where they hold.
type Base struct {
	Climate Climate // of the base cycle, without burning
	Growth  float64 // the development angle if the flame speed were all the time that at dead centre [rad], > 0
	Rapid   float64 // 10 to 90 % burned [rad], > 0
}

// The angles answer to the climate by the factor
//
//	f = (N/N₀)^(1/3) · (ν/ν₀)^(1/3) · (SL₀/SL)^(2/3)
//
// Source: Hires, Tabaczynski and Novak, SAE 780232, 1978, in the form of
// Heywood 1988 eq. 9.53 (from memory), each angle over its own base, and with
// the state at dead centre for that at the spark.
func (b *Base) factor(to *Climate) float64 {
	from := &b.Climate
	s := from.Flame / to.Flame
	return math.Cbrt(to.Speed / from.Speed * to.Viscosity / from.Viscosity * s * s)
}

// Along the development angle a flame grows as (SL/SL at dead centre)^early: lit
// early, into cool charge, it starts slowly and then makes up for some of it.
// The exponent is our own choice. The whole 2/3 of the factor would let an
// early spark undo much of itself, so that torque fell more slowly with
// over-advance than with retard, which is not what engines do (common
// practice, no source).
const early = 1. / 4

// growStep is the step of the integral over the development angle [rad].
const growStep = math.Pi / 180

// Grown is how far a flame has developed between two angles [rad], in radians
// at dead centre's flame speed top [m/s]; flame gives the speed along the way.
func Grown(from, to, top float64, flame func(theta float64) float64) float64 {
	n := math.Ceil((to - from) / growStep)
	step := (to - from) / n
	sum := 0.
	for i := 0.; i < n; i++ {
		sum += step * math.Pow(flame(from+(i+0.5)*step)/top, early)
	}
	return sum
}

// Development returns the angle from a spark at spark [rad] to 10 % burned in
// climate c, or NaN if that is not reached before last [rad].
func (b *Base) Development(c Climate, spark, last float64, flame func(theta float64) float64) float64 {
	left := b.Growth * b.factor(&c)
	for n := 0.; spark+n*growStep < last; n++ {
		d := growStep * math.Pow(flame(spark+(n+0.5)*growStep)/c.Flame, early)
		if d >= left {
			return growStep * (n + left/d)
		}
		left -= d
	}
	return math.NaN()
}

// RapidBurn returns the angle from 10 to 90 % burned [rad] in climate c.
func (b *Base) RapidBurn(c Climate) float64 { return b.Rapid * b.factor(&c) }
