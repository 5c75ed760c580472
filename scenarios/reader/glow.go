package reader

import "math"

// The thermal current by the reduced form of Saitzkoff, Reinmann, Berglind and
// Glavmo, SAE 960337, 1996 (from memory): gas that burned early follows the
// pressure p on an isentrope from its state at the greatest, pm and Tm,
//
//	i/im = (p/pm)^(3κ/4 − 1/2)·exp(−E/(2k·Tm)·((p/pm)^(−κ) − 1)),  κ = (γ−1)/γ,
//
// and fades besides as it cools. E ionises NO. Tm is hotter than the gas is, and
// so the hump wider: gas that burned later is there too. γ and Tm are our own
// choice, Tm tuned.
const (
	glowGamma = 1.2
	glowTemp  = 3400.                       // Tm [K]
	ionising  = 9.26 / 2 / 8.617333262e-5   // E/2k [K]
	kappa     = (glowGamma - 1) / glowGamma // κ
)

// lead is how far ahead of 10 % burned there is gas that glows. Our own choice.
const lead = 10 * deg

// glow makes ready ln(i/im) of the thermal current without its fading, of a charge
// that burns 10 % at ca10 [rad] and 50 % exp(early) [rad] later, and returns the
// peak of its pressure [rad]. Asked for the same again it has it.
func (t *tracker) glow(ca10, early float64) float64 {
	if now := (burn{ca10, early}); t.burned != now {
		t.burned = now
		c := t.charge
		var top int
		top, t.lpp = c.burn(ca10, math.Exp(early))
		for k := t.trace.first; k < gridSize; k++ {
			l := math.Log(c.p[k] / c.p[top])
			t.shape[k] = (0.75*kappa-0.5)*l - ionising/glowTemp*(math.Exp(-kappa*l)-1)
		}
	}
	return t.lpp
}

// burn is what glow depends on.
type burn struct{ ca10, early float64 }

// residuals stores those of the points of the trace from first on in dst, then
// those of what was expected: each in its deviations.
func (t *tracker) residuals(dst, p []float64) {
	tr := &t.trace
	b := math.Exp(p[front]) * tr.most
	lpp := t.glow(p[tenPct], p[early])
	level := p[thermal] + math.Log(tr.most)
	narrow := math.Exp(-p[wide])
	perRad := 1000 * p[fading] / t.speed
	for k := tr.first; k < gridSize; k++ {
		at, i := gridAt(k), 0.
		if at > p[tenPct]-lead {
			i = math.Exp(level + t.shape[k] - perRad*(at-lpp))
		}
		if d := (at - p[tenPct]) * narrow; math.Abs(d) < 5 {
			i += b * math.Exp(-d*d)
		}
		r := (i - tr.i[k]) * tr.sure[k]
		if tr.clipped[k] && r > 0 {
			r = 0
		}
		dst[k-tr.first] = r
	}
	rest := dst[gridSize-tr.first:]
	for i, w := range t.want {
		rest[i] = (p[i] - w.mean) / w.sd
	}
}
