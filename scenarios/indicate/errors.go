package indicate

import "math"

// apparent is γ−1 of the gas while it burns, by which noise of a pressure becomes noise
// of heat [-] (common practice, no source: γ 1.25 to 1.35).
const apparent = 0.3

// What is left out. The charge that hides in crevices at peak pressure comes back and burns
// late, which makes the whole burn greater by none to all of its share: evenly, that is an
// rms of 1/√3 of it (our own choice). What the cubic through a peak cuts off of it is
// measured by TestCoverage.
const (
	creviceSeen = 0.577
	cutPeak     = 0.0015
)

// fill puts values with their standard errors into out. An error is the root of squares
// of four: what white noise of the samples makes of it, what a shift of the angles by
// its own standard error does (turned), the same of the zero (lifted), and what is left
// out (lacking: gas in crevices, the cubic at a peak). They are taken as independent of
// each other; what a real engine has that the model has not is in none of them.
func (x *Indicator) fill(out *Numbers, base, turned, lifted *values, step float64) {
	out.turned, out.lifted, out.lacking = turned.less(base), lifted.less(base), values{peak: cutPeak * base.peak}
	hidden := x.engine.Crevice.Volume * base.peak / (burnedR * x.closed.LinerTemp * x.closed.Mass)
	number := func(of func(v *values) float64, random float64) Number {
		b := of(base)
		return Number{b, math.Sqrt(random*random + math.Pow(of(turned)-b, 2) + math.Pow(of(lifted)-b, 2) + math.Pow(of(&out.lacking), 2))}
	}
	sigma := out.Noise
	dv2 := 0.
	half := 0.
	for i := 1; i < len(x.v); i++ {
		d := x.v[i] - x.v[i-1]
		dv2 += d * d
		if end := x.stretch * math.Pi; x.theta[i] > -end && x.theta[i] <= end {
			half += d * d
		}
	}
	swept := x.chamber.Swept()
	lpp, peak := x.sharp(sigma, base, step)
	out.LPP = number(func(v *values) float64 { return v.lpp }, lpp)
	out.Peak = number(func(v *values) float64 { return v.peak }, peak)
	out.IMEPGross = number(func(v *values) float64 { return v.gross }, sigma*math.Sqrt(half)/swept)
	out.IMEPNet = number(func(v *values) float64 { return v.net }, sigma*math.Sqrt(dv2)/swept)
	out.PMEP = number(func(v *values) float64 { return v.net - v.gross }, sigma*math.Sqrt(dv2-half)/swept)
	out.Compression = number(func(v *values) float64 { return v.compression }, 0)
	out.Expansion = number(func(v *values) float64 { return v.expansion }, 0)
	out.Heat = number(func(v *values) float64 { return v.heat }, sigma*x.volume(x.opens)/apparent)
	// A sample makes noise of heat by the volume where it is: that at the angle itself, that
	// from which heat is counted, and of the most what is left by the fit of plateau, at worst
	// at its end.
	begin, end := x.volume(-x.op.Spark), 1.5*x.volume(x.opens)*math.Sqrt(step/(2*plateauHalf))
	for _, b := range []struct {
		burn *Burn
		of   func(v *values) *[3]float64
	}{{&out.Burn, func(v *values) *[3]float64 { return &v.burn }}, {&out.Ratio, func(v *values) *[3]float64 { return &v.ratio }}} {
		at := b.of(base)
		slope := 0.8 / (at[2] - at[0]) // of burned from 10 to 90 %
		for k, to := range []*Number{&b.burn.CA10, &b.burn.CA50, &b.burn.CA90} {
			s := slope
			if k != 1 {
				s /= 2 // slower at both ends (our own choice, of an S-shaped burn)
			}
			b.of(&out.lacking)[k] = share[k] * creviceSeen * hidden / s
			random := sigma * math.Hypot(math.Hypot(x.volume(at[k]), begin), share[k]*end) / (apparent * math.Max(base.heat, 1e-9)) / s
			*to = number(func(v *values) float64 { return b.of(v)[k] }, random)
		}
	}
}

// less is v − w.
func (v values) less(w *values) values {
	v.lpp, v.peak, v.gross, v.net = v.lpp-w.lpp, v.peak-w.peak, v.gross-w.gross, v.net-w.net
	v.compression, v.expansion, v.heat = v.compression-w.compression, v.expansion-w.expansion, v.heat-w.heat
	for k := range v.burn {
		v.burn[k], v.ratio[k] = v.burn[k]-w.burn[k], v.ratio[k]-w.ratio[k]
	}
	return v
}

func (x *Indicator) volume(theta float64) float64 {
	v, _ := x.chamber.Volume(theta)
	return v
}

// sharp is what noise makes of the peak's angle [rad] and height [Pa], by the cubic of
// top: the slope in the middle of 2m+1 samples has a variance of σ²·Σu⁶/(Σu²·Σu⁶−(Σu⁴)²),
// and moves the angle by itself over the curvature.
func (x *Indicator) sharp(sigma float64, v *values, step float64) (angle, height float64) {
	m := max(2, int(top/step+0.5))
	s2, s4, s6 := 0., 0., 0.
	for i := -m; i <= m; i++ {
		u := float64(i) * step
		s2, s4, s6 = s2+u*u, s4+u*u*u*u, s6+u*u*u*u*u*u
	}
	at := x.index(v.lpp)
	lo, hi := max(0, at-m), min(len(x.p)-1, at+m)
	curvature := (x.p[lo] + x.p[hi] - 2*x.p[at]) / math.Pow(float64(m)*step, 2) // second derivative
	return sigma * math.Sqrt(s6/(s2*s6-s4*s4)) / math.Abs(curvature), sigma * 1.5 / math.Sqrt(float64(2*m+1))
}
