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
	glowTemp = 3400.                     // Tm [K]
	ionising = 9.26 / 2 / 8.617333262e-5 // E/2k [K]
	kappa    = 1. / 6                    // κ of γ = 1.2; the roots in residuals are of that
)

// lead is how far ahead of 10 % burned there is gas that glows. Our own choice.
const lead = 10 * deg

// residuals stores those of the points of the trace from first on in dst, then
// those of what was expected, each in its deviations; and how they answer to p.
func (t *tracker) residuals(dst *residuals, p []float64) {
	tr, c := &t.trace, t.charge
	top, lpp := c.burn(p[tenPct], math.Exp(p[early]))
	late, slow := c.sway(top)
	most, b := math.Exp(p[thermal])*tr.most, math.Exp(p[front])*tr.most
	narrow := math.Exp(-p[wide])
	msPerRad := 1000 / t.speed
	fade := msPerRad * p[fading]
	for k := tr.first; k < gridSize; k++ {
		at, n, sure := gridAt(k), k-tr.first, tr.sure[k]
		var glow, byTenPct, byEarly, hump, off float64
		if at > p[tenPct]-lead {
			w := math.Sqrt(math.Cbrt(c.p[top] / c.p[k])) // (p/pm)^(−κ)
			cool := ionising / glowTemp * w
			steep := w * w * math.Sqrt(math.Sqrt(w)) // (p/pm)^(3κ/4 − 1/2)
			glow = most * steep * math.Exp(ionising/glowTemp-cool-fade*(at-lpp))
			byL := 0.75*kappa - 0.5 + kappa*cool // of ln glow, to ln(p/pm)
			byTenPct = glow * (byL*(c.late[k]-c.late[top]) + fade*late)
			byEarly = glow * (byL*(c.slow[k]-c.slow[top]) + fade*slow)
		}
		if d := (at - p[tenPct]) * narrow; math.Abs(d) < 5 {
			hump, off = b*math.Exp(-d*d), d
		}
		r := (glow + hump - tr.i[k]) * sure
		if tr.clipped[k] && r > 0 {
			r, sure = 0, 0
		}
		dst.r[n] = r
		dst.jac[thermal][n] = glow * sure
		dst.jac[front][n] = hump * sure
		dst.jac[fading][n] = -msPerRad * (at - lpp) * glow * sure
		dst.jac[wide][n] = 2 * off * off * hump * sure
		dst.jac[tenPct][n] = (byTenPct + 2*off*narrow*hump) * sure
		dst.jac[early][n] = byEarly * sure
	}
	rest := gridSize - tr.first
	for i, w := range t.want {
		dst.r[rest+i] = (p[i] - w.mean) / w.sd
		for j := range t.want {
			dst.jac[j][rest+i] = 0
		}
		dst.jac[i][rest+i] = 1 / w.sd
	}
}
