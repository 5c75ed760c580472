package stream

import (
	"math"

	"phasebench/model"
)

// Cycle is one cycle of a stream: what the gas did, and the truth about it. Its
// slices belong to the stream, which uses them again at the next cycle.
type Cycle struct {
	Number    int             // 0, 1, … in the stream
	Warming   bool            // before the first cycle asked for
	Operating model.Operating // where it ran; Spark and Split are those it fired with
	Clock     Clock           // how the crank turned

	Theta    []float64 // [rad], evenly spaced from the start of the cycle (−2π for a piston, −3π for a rotor) up to one step before its end
	Pressure []float64 // in the chamber [Pa]
	Hot      []float64 // temperature of the burned zone [K]; NaN where there is none
	Temp     []float64 // mean gas temperature [K]

	Truth
}

// Truth is what nobody can know about a cycle of a real engine. Numbers that
// the cycle does not have are NaN.
type Truth struct {
	MBT float64 // spark advance of maximum brake torque of the mean cycle there [rad]

	LPP, Peak            float64 // location of peak pressure [rad], peak pressure [Pa]
	CA10, CA50, CA90     float64 // [rad]
	IMEPGross, IMEPNet   float64 // [Pa]; gross between the greatest volumes about firing, net over the row of samples
	BMEP, Torque         float64 // [Pa], [N·m]; torque of all chambers, were they alike
	Lit                  bool    // the spark set the charge on fire
	Burned               float64 // share of the fresh charge that burned [-]
	Misfire, PartialBurn bool    // Burned below MisfireBelow; below PartialBelow but no misfire
	Lambda, Residual     float64 // of the charge [-]; residual is burned gas by mass
	Charge               float64 // mass at intake closing [kg]

	KnockIntegral  float64 // autoignition integral until 98 % are burned [-]
	KnockOnset     float64 // [rad]
	KnockIntensity float64 // greatest amplitude of the ringing pressure [Pa]
	Knocking       bool    // the intensity is of a cycle that knocks
}

// Hump is the angle that a reader should find and a loop is after [rad]: LPP. Where
// the burn is so late that the pressure is greatest at dead centre, before it, that
// is the motored hump: then it is CA50, about where the hump of the burn is. NaN for a
// misfire, which has none.
func (t *Truth) Hump() float64 {
	const deadCentre, late = 3 * math.Pi / 180, 12 * math.Pi / 180 // our own choice
	switch {
	case t.Misfire:
		return math.NaN()
	case math.Abs(t.LPP) < deadCentre && t.CA50 > t.LPP+late:
		return t.CA50
	}
	return t.LPP
}

// Clock tells when the shaft is where in one cycle. Its speed ripples once for every
// firing, ω(θ) = Speed / (1 + Ripple·cos(k(θ−RippleAt))), slowest at RippleAt, with
// the order k: once in two turns of a four-stroke single, once a turn of a rotor with
// its three chambers. The time since the cycle began is
//
//	t(θ) = [θ − Start + Ripple/k·(sin(k(θ−RippleAt)) − sin(k(Start−RippleAt)))] / Speed
//
// and a whole cycle takes its period over Speed.
type Clock struct {
	Speed    float64 // mean of the cycle [rad/s]
	Ripple   float64 // relative amplitude of the ripple [-], 0 to 0.5
	Order    float64 // ripples in a turn, k [-]; 0: 1/2, a four-stroke single
	RippleAt float64 // where the crank is slowest [rad]
	Start    float64 // angle at which the cycle begins [rad]
}

func (c *Clock) order() float64 {
	if c.Order == 0 {
		return 0.5
	}
	return c.Order
}

// Time returns the time [s] from the start of the cycle until the crank is at theta [rad].
func (c *Clock) Time(theta float64) float64 {
	k := c.order()
	s := math.Sin((theta-c.RippleAt)*k) - math.Sin((c.Start-c.RippleAt)*k)
	return (theta - c.Start + c.Ripple/k*s) / c.Speed
}

// Rate returns the speed of the crank at theta [rad/s].
func (c *Clock) Rate(theta float64) float64 {
	return c.Speed / (1 + c.Ripple*math.Cos((theta-c.RippleAt)*c.order()))
}

// Angle returns where the crank is [rad] at time t [s] from the start of the cycle.
func (c *Clock) Angle(t float64) float64 {
	theta := c.Start + c.Speed*t
	for range 30 {
		step := (t - c.Time(theta)) * c.Rate(theta)
		theta += step
		if math.Abs(step) < 1e-13 {
			break
		}
	}
	return theta
}
