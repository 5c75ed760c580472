package reader

import (
	"math"
	"sort"
)

// twoHumps fits two Gaussians to an ion current, the flame front's and the thermal
// one, from the end of blanking to the end of the window,
//
//	i = Σ a·exp(−((θ−b)/c)²),
//
// and reads the place of the later one (L. Eriksson's model of the ion current, from
// memory). It declines where the later hump is lower than the least, wider or
// narrower than a thermal hump is, or outside the window.
type twoHumps struct {
	window window
	fit    least
	in     *Input
	unit   float64 // of the levels: the greatest sample [A]
	model  func(dst *residuals, p []float64)
}

// A thermal hump is 15 to 40 deg wide at half height, the flame front's 5 to 15
// (common practice, no source): the widths c, with room for one that is flat.
const (
	thinFront   = 2 * deg
	wideFront   = 12 * deg
	thinThermal = 6 * deg
	wideThermal = 40 * deg
)

func newTwoHumps(b *base) (Reader, error) {
	t := &twoHumps{window: b.window}
	t.fit.step = [mostUnknowns]float64{1e-3, 0.01 * deg, 1e-3, 1e-3, 0.01 * deg, 1e-3}
	t.model = t.residuals
	return t, nil
}

// Reset implements Reader.
func (*twoHumps) Reset() {}

// Read implements Reader.
func (t *twoHumps) Read(in *Input) Reading {
	w := &t.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	// The front may lie before the window: it is fitted too, from blanking on.
	w.lo = min(w.lo, sort.SearchFloat64s(in.Theta, -in.Spark+w.set.Blank*in.Speed))
	t.unit = in.Values[w.top(in.Values)] - w.base
	if !(t.unit >= w.set.Least*w.noise && t.unit > 0) {
		return decline(whyFlat)
	}
	t.in = in
	begin := math.Max(in.Theta[w.lo], -in.Spark)
	f, best := &t.fit, math.Inf(1)
	var kept [mostUnknowns]float64
	for _, way := range [...]float64{10 * deg, 18 * deg} { // spark to front, roughly
		front := math.Max(begin, way-in.Spark)
		f.p = [mostUnknowns]float64{0.5, front, math.Log(6 * deg), 0.5, front + 20*deg, math.Log(15 * deg)}
		f.run(6, w.hi-w.lo, 20, t.model)
		if f.cost < best {
			best, kept = f.cost, f.p
		}
	}
	p := &kept
	if p[1] > p[4] { // the fit calls them by the other name
		p[0], p[1], p[2], p[3], p[4], p[5] = p[3], p[4], p[5], p[0], p[1], p[2]
	}
	level, at, wide := p[3]*t.unit, p[4], math.Exp(p[5])
	switch {
	case !(level >= w.set.Least*w.noise):
		return decline("no thermal hump")
	case !(wide >= thinThermal && wide <= wideThermal):
		return decline("the later hump is not as wide as a thermal one")
	case !(at >= w.set.From && at <= w.set.To):
		return decline("the later hump lies outside the window")
	}
	humps := 1
	if p[0]*t.unit >= w.set.Least*w.noise && math.Exp(p[2]) > thinFront && math.Exp(p[2]) < wideFront {
		humps = 2
	}
	rest := math.Sqrt(best/float64(w.hi-w.lo)) * t.unit
	return Reading{Angle: at, Quality: level / (level + w.set.Least*math.Max(rest, w.noise)), Humps: humps}
}

// residuals stores those of the samples of the window in dst.
func (t *twoHumps) residuals(dst *residuals, p []float64) {
	w := &t.window
	front, thermal := math.Exp(-p[2]), math.Exp(-p[5])
	for i := range dst.r {
		theta := t.in.Theta[w.lo+i]
		a, b := (theta-p[1])*front, (theta-p[4])*thermal
		dst.r[i] = p[0]*math.Exp(-a*a) + p[3]*math.Exp(-b*b) - (t.in.Values[w.lo+i]-w.base)/t.unit
	}
}
