package sensor

import (
	"math"

	"phasebench/model/knock"
	"phasebench/scenarios/stream"
)

// ring is the gas in the bore ringing after knock: the lowest modes of the bore, or
// of a rotor's flat chamber with f for α/(π·B),
// all at their crest at onset,
//
//	p'(t) = A·exp(−t/τ)·Σ w·cos(α·ψ(t)/(π·B)),  ψ = ∫ c dt,  Σ w = 1,
//
// with the sound speed c of the mean gas: as it cools, the tone falls. A cycle
// that does not knock rings faintly, from where half is burned.
type ring struct {
	bore  float64
	modes []knock.Mode

	amplitude float64   // A [Pa]; 0: silence
	onset     float64   // since the start of the cycle [s]
	way       []float64 // ψ at knots from onset on [m]
}

const (
	ringDecay = 1e-3  // τ [s], typical (from memory)
	ringSpan  = 8e-3  // after which nothing is left: exp(−8) [s]
	ringKnot  = 50e-6 // distance of the knots of ψ [s]

	burnedR = 290. // gas constant of burned gas, about [J/kg/K]
)

// ringShare are the weights w of the modes. Our own choice: the first transverse
// mode is the loudest (common practice, no source).
var ringShare = [...]float64{0.65, 0.17, 0.09, 0.06, 0.03}

func newRing(bore float64) (ring, error) {
	modes, err := knock.Modes(bore, 1, len(ringShare))
	return ring{bore: bore, modes: modes, way: make([]float64, int(ringSpan/ringKnot)+2)}, err
}

// audible tells whether samples at rate [Hz] show the first mode: four or more to
// its period. In angle base none are held to.
func (r *ring) audible(rate float64) bool {
	const hot = 950 // typical sound speed of burned gas [m/s]
	return rate >= 4*hot*r.modes[0].Frequency
}

// strike makes the ringing of c ready.
func (r *ring) strike(c *stream.Cycle) {
	at := c.CA50
	if c.Knocking {
		at = c.KnockOnset
	}
	r.amplitude = 0
	if !(c.KnockIntensity > 0) || !c.Lit || math.IsNaN(at) {
		return
	}
	r.amplitude, r.onset = c.KnockIntensity, c.Clock.Time(at)
	// ψ at the knots, by the trapezoidal rule.
	pace := c.Theta[1] - c.Theta[0]
	before := 0.
	for i := range r.way {
		theta := c.Clock.Angle(r.onset + float64(i)*ringKnot)
		k := min(max(0, int((theta-c.Theta[0])/pace)), len(c.Theta)-2)
		u := (theta - c.Theta[k]) / pace
		sound := knock.SoundSpeed(knock.BurnedGamma, burnedR, c.Temp[k]+min(u, 1)*(c.Temp[k+1]-c.Temp[k]))
		if i == 0 {
			r.way[0] = 0
		} else {
			r.way[i] = r.way[i-1] + (before+sound)/2*ringKnot
		}
		before = sound
	}
}

// add adds gain times the ringing to the samples x at times [s].
func (r *ring) add(x, times []float64, gain float64) {
	if r.amplitude == 0 {
		return
	}
	for i, t := range times {
		t -= r.onset
		if t < 0 || t >= ringSpan {
			continue
		}
		k := int(t / ringKnot)
		u := t/ringKnot - float64(k)
		way := r.way[k] + u*(r.way[k+1]-r.way[k])
		sum := 0.
		for j, m := range r.modes {
			sum += ringShare[j] * math.Cos(2*math.Pi*m.Frequency*way) // m.Frequency is per 1 m/s
		}
		x[i] += gain * r.amplitude * math.Exp(-t/ringDecay) * sum
	}
}
