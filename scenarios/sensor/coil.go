package sensor

import "math"

// What the coil puts on the line of the ion current: a short dip as charging
// begins, the spark, and the ringing of what is left in the coil once the spark
// has gone. Our own choice within common practice.
const (
	dwell      = 3e-3   // charging before the spark [s]
	chargeDip  = 0.1    // of the strike
	chargeTime = 0.1e-3 // [s]
	sparkEnd   = 0.6    // the current that is left as the spark goes, of that at its start
	coilHz     = 4e3    // of the ringing [Hz]
	coilSpans  = 8.     // time constants after which nothing is left
)

// coil returns the current [A] at time t after the spark [s].
func (p *Ion) coil(t float64) float64 {
	switch {
	case t < -dwell:
		return 0
	case t < coilSpans*chargeTime-dwell:
		return -chargeDip * p.Strike * math.Exp(-(t+dwell)/chargeTime)
	case t < 0:
		return 0
	case t < p.Spark:
		return p.Strike * (1 - (1-sparkEnd)*t/p.Spark)
	}
	t -= p.Spark
	if p.Ringing == 0 || t > coilSpans*p.RingTime {
		return 0
	}
	return p.Ringing * math.Exp(-t/p.RingTime) * math.Cos(2*math.Pi*coilHz*t)
}
