package stream

import (
	"math"

	"phasebench/model"
	"phasebench/model/knock"
)

// The ordinary noise of burning in the band of knock: its median at a peak
// pressure of 40 bar, with which it rises [Pa] (our own choice within what is
// common practice, no source).
const (
	noiseAt40 = 0.08e5
	noiseRef  = 40e5
)

// knock draws how hard the cycle knocks. Its knock integral, times a log-normal
// number for an end gas warmer or cooler than the mean, tells whether it does.
// The intensity then is log-normal about knock.Intensity of what is unburned at
// onset, else log-normal about the ordinary noise. Over many cycles that makes
// the mixture of two log-normal distributions that Kassa et al.,
// arXiv:1906.05773, 2019 (abstract), found to fit intensities.
func (c *chain) knock(n int, k *Knobs, op *model.Operating) {
	o := &c.out
	r := Rand(c.seed, n, Knocking)
	warm, loud, noise := normal(r), normal(r), normal(r)
	o.KnockIntegral, o.KnockOnset = math.NaN(), math.NaN()
	if o.Peak > 0 {
		o.KnockIntensity = noiseAt40 * o.Peak / noiseRef * math.Exp(k.Background*noise)
	}
	if !o.Lit {
		return
	}
	scale := math.Exp(k.EndGas * warm)
	curve := c.shape.knock(c.value)
	o.KnockIntegral = scale * math.Exp(c.shape.out(c.value)[outKnock])
	if !(o.KnockIntegral > 1) {
		return
	}
	at := -1
	for i := range curve {
		if curve[i]*scale >= 1 {
			at = i
			break
		}
	}
	if at < 1 {
		return
	}
	a, b := curve[at-1]*scale, curve[at]*scale
	step := o.Theta[1] - o.Theta[0]
	o.KnockOnset = o.Theta[c.shape.begin+at-1] + step*math.Log(1/a)/math.Log(b/a)
	left := o.unburnedAt(o.KnockOnset) * (1 - o.Residual)
	if !(left > 0) {
		return
	}
	volume, _ := c.direct.solver.Chamber().Volume(o.KnockOnset)
	heat := c.direct.solver.Heat(op.Lambda)
	o.KnockIntensity += knock.Intensity(left*o.Charge, heat, volume, knock.BurnedGamma) * math.Exp(k.Knock*loud)
	o.Knocking = true
}
