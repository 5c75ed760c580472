package stream

import (
	"math"
	"math/rand/v2"
)

// draw is how one cycle differs, in standard normal numbers.
type draw struct {
	development, rapid, mixture, charge, residual float64
	misfire                                       float64 // uniform, 0 to 1
}

// mostSigma is where normal numbers are cut.
const mostSigma = 4

func normal(r *rand.Rand) float64 {
	for {
		if z := r.NormFloat64(); math.Abs(z) <= mostSigma {
			return z
		}
	}
}

// drawn returns the draw of cycle n.
func drawn(seed uint64, n int, link float64) draw {
	r := Rand(seed, n, Burning)
	d := draw{development: normal(r), rapid: normal(r), mixture: normal(r), charge: normal(r), residual: normal(r), misfire: r.Float64()}
	d.rapid = link*d.development + math.Sqrt(1-link*link)*d.rapid
	return d
}

// factor is the log-normal number of mean 1 with deviation sd of its logarithm.
func factor(sd, z float64) float64 { return math.Exp(sd*z - sd*sd/2) }

// driftSpan is over how many cycles the drift of speed changes.
const driftSpan = 100

// turn returns the clock of cycle n, which begins at start [rad]: the speed
// drifts slowly between draws driftSpan apart and differs a little from cycle to
// cycle. It is slowest where compression ends (our own choice of place).
func turn(seed uint64, n int, k *Knobs, speed, start float64) Clock {
	at := float64(n) / driftSpan
	i := math.Floor(at)
	a, b := normal(Rand(seed, int(i), Drifting)), normal(Rand(seed, int(i)+1, Drifting))
	w := at - i
	w = w * w * (3 - 2*w)
	drift := a + (b-a)*w
	r := Rand(seed, n, Turning)
	return Clock{Speed: speed * math.Max(0.5, 1+k.Drift*drift+k.Speed*normal(r)), Ripple: k.Ripple, RippleAt: slowest, Start: start}
}

const slowest = -30 * math.Pi / 180
