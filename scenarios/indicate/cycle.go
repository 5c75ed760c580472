package indicate

import (
	"fmt"
	"math"
	"sort"
)

// Where things are looked for. Our own choice.
const (
	peakFrom, peakTo = -20 * deg, 100 * deg
	top              = 7 * deg  // half the width of the cubic through the peak
	clearOfValves    = 5 * deg  // inside where the chamber is sealed
	expFrom          = 60 * deg // the expansion, when the burn is over
	rateAt           = 6 * deg  // half the width of a slope of burned
)

// values are Numbers without errors.
type values struct {
	lpp, peak, gross, net, compression, expansion, heat float64
	burn, ratio                                         [3]float64
}

// share are those that burn angles are about.
var share = [3]float64{0.1, 0.5, 0.9}

// Cycle makes numbers of one recorded cycle: p [Pa] at evenly spaced angles theta [rad]
// of a whole cycle from -2π on, as recorded. The error tells what such a pressure cannot
// be.
func (x *Indicator) Cycle(theta, p []float64) (Numbers, error) {
	n := len(theta)
	if n < 90 || len(p) != n {
		return Numbers{}, fmt.Errorf("indicate: %d angles and %d pressures, want 90 or more of each", n, len(p))
	}
	x.room(n)
	step := theta[1] - theta[0]
	copy(x.smooth, p)
	lowPass(x.smooth, x.work, x.set.LowPass, step)
	out := Numbers{}
	for i := range theta {
		x.theta[i] = theta[i] - x.set.Shift
	}
	from, to := x.index(x.stretch*compFrom), x.index(x.stretch*compTo)
	out.Noise = noise(p[from:to])
	out.Zero = x.zero()
	base, err := x.values(x.set.Shift, out.Zero.Value, theta)
	if err != nil {
		return Numbers{}, err
	}
	turned, err := x.values(x.set.Shift+x.set.ShiftError, out.Zero.Value, theta)
	if err != nil {
		return Numbers{}, err
	}
	lifted, err := x.values(x.set.Shift, out.Zero.Value+out.Zero.Error, theta)
	if err != nil {
		return Numbers{}, err
	}
	x.fill(&out, &base, &turned, &lifted, step)
	return out, nil
}

// room makes buffers for n samples.
func (x *Indicator) room(n int) {
	if len(x.p) == n {
		return
	}
	all := make([]float64, 7*n)
	for i, b := range []*[]float64{&x.theta, &x.p, &x.smooth, &x.v, &x.burned, &x.walls, &x.work} {
		*b = all[i*n : (i+1)*n : (i+1)*n]
	}
}

// index is the first sample at theta or later.
func (x *Indicator) index(theta float64) int { return sort.SearchFloat64s(x.theta, theta-1e-9) }

// zero finds what is to be added to the recorded pressure.
func (x *Indicator) zero() Number {
	switch x.set.Peg {
	case None:
		return Number{}
	case AtInlet:
		from, to := x.index(x.stretch*InletFrom), x.index(x.stretch*InletTo)+1
		sum := 0.
		for _, p := range x.smooth[from:to] {
			sum += p
		}
		count := float64(to - from)
		return Number{x.op.MAP - sum/count, noise(x.smooth[x.index(x.stretch*compFrom):x.index(x.stretch*compTo)]) / math.Sqrt(count)}
	}
	from, to := x.index(math.Max(x.stretch*compFrom, x.shuts+clearOfValves)), x.index(math.Min(x.stretch*compTo, -x.op.Spark-clearOfValves))
	for i := from; i < to; i++ {
		x.v[i], _ = x.chamber.Volume(x.theta[i])
	}
	f := fitPolytrope(x.smooth[from:to], x.v[from:to], x.set.Exponent, x.set.Peg == Free)
	e := f.cError
	if x.set.Peg == Fixed { // the exponent is not known that well
		other := fitPolytrope(x.smooth[from:to], x.v[from:to], x.set.Exponent+exponentError, false)
		e = math.Hypot(e, other.c-f.c)
	}
	return Number{-f.c, e}
}

// values makes numbers with the angles shifted so far and zero added.
func (x *Indicator) values(shift, zero float64, theta []float64) (values, error) {
	n := len(theta)
	for i := range theta {
		x.theta[i] = theta[i] - shift
		x.v[i], _ = x.chamber.Volume(x.theta[i])
		x.p[i] = x.smooth[i] + zero
	}
	out := values{}
	out.lpp, out.peak = x.top()
	step := theta[1] - theta[0]
	work := func(from, to int) float64 { // over θ: dV is 0 at both ends, where the trapezium rule is then exact to high order
		sum := 0.
		for i := from; i < to; i++ {
			_, dv := x.chamber.Volume(x.theta[i])
			sum += x.p[i] * dv
		}
		return sum * step / x.chamber.Swept()
	}
	out.net = work(0, n)
	half := int(math.Round(x.stretch * math.Pi / step))
	mid := x.index(0)
	out.gross = work(max(0, mid-half), min(n, mid+half))
	compression, expansion := x.index(math.Max(x.stretch*compFrom, x.shuts+clearOfValves)), x.index(x.stretch*expFrom)
	spark, opens := x.index(-x.op.Spark-clearOfValves), x.index(x.opens-clearOfValves)
	out.compression, out.expansion = exponent(x.p[compression:spark], x.v[compression:spark]), exponent(x.p[expansion:opens], x.v[expansion:opens])
	if err := x.closed.ReleaseZones(x.theta[compression:opens], x.p[compression:opens], x.burned[compression:opens], x.walls[compression:opens]); err != nil {
		return out, err
	}
	lit := x.index(-x.op.Spark)
	out.burn, out.heat = x.reached(lit, opens)
	out.heat *= x.fuel
	x.rise(lit, opens, out.compression, out.expansion)
	out.ratio, _ = x.reached(lit, opens)
	return out, nil
}

// top is where the pressure is greatest, and how great: of the cubic through the samples
// about the greatest, by least squares. A parabola would be late by 0.1 deg: the
// pressure falls more slowly than it rose.
func (x *Indicator) top() (lpp, peak float64) {
	from, to := x.index(x.stretch*peakFrom), x.index(x.stretch*peakTo)
	at := from
	for i := from; i < to; i++ {
		if x.p[i] > x.p[at] {
			at = i
		}
	}
	step := x.theta[1] - x.theta[0]
	m := max(2, int(top/step+0.5))
	if at < m || at+m >= len(x.p) {
		return x.theta[at], x.p[at]
	}
	var s0, s2, s4, s6, y0, y1, y2, y3 float64
	for i := -m; i <= m; i++ {
		u, p := float64(i), x.p[at+i]
		s0, s2, s4, s6 = s0+1, s2+u*u, s4+u*u*u*u, s6+u*u*u*u*u*u
		y0, y1, y2, y3 = y0+p, y1+u*p, y2+u*u*p, y3+u*u*u*p
	}
	a2 := (y2*s0 - y0*s2) / (s4*s0 - s2*s2)
	a0 := (y0 - a2*s2) / s0
	a3 := (y3*s2 - y1*s4) / (s6*s2 - s4*s4)
	a1 := (y1 - a3*s4) / s2
	root := a2*a2 - 3*a1*a3
	if !(a2 < 0) || root < 0 {
		return x.theta[at], x.p[at]
	}
	u := a1 / (-a2 + math.Sqrt(root)) // the root of the slope nearest to 0
	if math.Abs(u) > float64(m) {
		return x.theta[at], x.p[at]
	}
	return x.theta[at] + u*step, a0 + u*(a1+u*(a2+u*a3))
}

// exponent is that of a polytrope through samples, by least squares of ln p over ln V.
func exponent(p, v []float64) float64 {
	var n, sx, sy, sxx, sxy float64
	for i := range p {
		if p[i] <= 0 {
			return math.NaN()
		}
		a, b := math.Log(v[i]), math.Log(p[i])
		n, sx, sy, sxx, sxy = n+1, sx+a, sy+b, sxx+a*a, sxy+a*b
	}
	return -(n*sxy - sx*sy) / (n*sxx - sx*sx)
}

// rise puts the burned share by Rassweiler and Withrow into burned: of the rise of
// pressure from sample to sample, what a polytrope of the exponents does not explain is
// of the burn; it counts as if it had come at the volume of dead centre (Rassweiler and
// Withrow 1938, SAE 380139, from memory).
func (x *Indicator) rise(from, to int, compression, expansion float64) {
	x.burned[from] = 0
	for i := from + 1; i < to; i++ {
		n := compression
		if x.theta[i] > 0 {
			n = expansion
		}
		x.burned[i] = x.burned[i-1] + (x.p[i]-x.p[i-1]*math.Pow(x.v[i-1]/x.v[i], n))*x.v[i-1]
	}
}

// reached is where burned last was less than each share of the most [rad], and the most.
func (x *Indicator) reached(from, to int) (at [3]float64, most float64) {
	begin := x.burned[from]
	last := from
	for i := from; i < to; i++ {
		if x.burned[i] > x.burned[last] {
			last = i
		}
	}
	most = x.plateau(from, last, to) - begin
	for k, q := range share {
		at[k] = math.NaN()
		for i := last; i > from; i-- {
			a, b := x.burned[i-1]-begin, x.burned[i]-begin
			if a < q*most && b >= q*most {
				at[k] = x.theta[i-1] + (q*most-a)/(b-a)*(x.theta[i]-x.theta[i-1])
				break
			}
		}
	}
	return at, most
}
