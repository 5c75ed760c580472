package measured

import (
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/model/chamber"
)

// profile is the mean pressure of cycles that begin anywhere: over one period from an
// angle of the run on.
func profile(r *run, period float64, points int) []float64 {
	mean := make([]float64, points)
	one := make([]float64, points)
	step := period / float64(points)
	count := 0.
	for from := r.angle[0] + step; from+period+step <= r.angle[len(r.angle)-1] && count < 40; from += period {
		r.grid(one, from, step)
		if r.hole(r.at(from), r.at(from+period)) != "" {
			continue
		}
		for i, p := range one {
			mean[i] += p
		}
		count++
	}
	if count == 0 {
		return nil
	}
	for i := range mean {
		mean[i] /= count
	}
	return mean
}

// Where the compression is looked at to find dead centre: after the intake valve has
// surely shut and before a spark. Our own choice.
const (
	compFrom, compTo = -105 * deg, -45 * deg
	compExponent     = 1.32    // (literature: Maurya 2019 chapter 5)
	exponentError    = 0.03    // (common practice, no source)
	roughError       = 3 * deg // the fit is flat (our own choice: up to 4 deg were seen)
)

// centre finds where in a profile, from its first point, firing dead centre is [rad]: where
// the pressure of compression is most nearly k·V^−n + c; and how far that moves with n.
// Dead centre has the highest pressure near it, not long before it. ok is false where
// nothing looks like compression.
func centre(p []float64, period float64, c chamber.Chamber) (at, atError float64, ok bool) {
	step := period / float64(len(p))
	top := 0
	for i := range p {
		if p[i] > p[top] {
			top = i
		}
	}
	look := func(n float64) float64 {
		best, where := math.Inf(1), math.NaN()
		left := make(map[int]float64)
		// The peak is 60 deg after dead centre at most, 20 before it at least.
		for k := int(-60 * deg / step); k <= int(20*deg/step); k++ {
			left[k] = compressed(p, step, float64(top+k)*step, n, c)
			if left[k] < best {
				best, where = left[k], float64(k)
			}
		}
		if !(best < 0.05) {
			return math.NaN()
		}
		k := int(where)
		a, b := left[k-1], left[k+1]
		if d := a - 2*best + b; d > 0 {
			where += (a - b) / 2 / d
		}
		return (float64(top) + where) * step
	}
	at = look(compExponent)
	other := look(compExponent + exponentError)
	return at, math.Hypot(roughError, other-at), !math.IsNaN(at)
}

// compressed is the share of the variance of pressure, in the window of compression
// before a dead centre at zero, that k·V^−n + c leaves; infinite where k is negative.
func compressed(p []float64, step, zero, n float64, c chamber.Chamber) float64 {
	var m, sx, sp, sxx, sxp, spp float64
	for theta := compFrom; theta <= compTo; theta += step {
		k := math.Round((zero + theta) / step)
		i := around(k, len(p))
		v, _ := c.Volume(k*step - zero)
		x := math.Pow(v/c.Swept(), -n)
		m, sx, sp, sxx, sxp, spp = m+1, sx+x, sp+p[i], sxx+x*x, sxp+x*p[i], spp+p[i]*p[i]
	}
	xx, xp, pp := sxx-sx*sx/m, sxp-sx*sp/m, spp-sp*sp/m
	if !(xp > 0) {
		return math.Inf(1)
	}
	return (pp - xp*xp/xx) / pp
}

// around is sample k of a row of n that goes on where it begins.
func around(k float64, n int) int { return ((int(k) % n) + n) % n }

// hump is the mean of a profile within 25 deg of a dead centre, less that of the ends of
// its strokes.
func hump(p []float64, step, zero float64) float64 {
	mean := func(from, to float64) float64 {
		sum, n := 0., 0.
		for theta := from; theta <= to; theta += step {
			sum, n = sum+p[around(math.Round((zero+theta)/step), len(p))], n+1
		}
		return sum / n
	}
	return mean(-25*deg, 25*deg) - (mean(-175*deg, -145*deg)+mean(145*deg, 175*deg))/2
}

// What a hump of compression is at least, and how much greater than the others. Our own
// choice: an engine that idles at 25 kPa has one of 2 bar.
const (
	leastHump    = 0.5 * bar
	leastBetter  = 2.
	unlikelyHigh = 250 * bar
)

// settle finds the firing dead centre of a run, and the angle of the reference if it is
// not known yet.
func (r *Recording) settle() error {
	run := &r.run
	points := 720 * int(math.Round(r.period/(2*math.Pi))) / 2
	p := profile(run, r.period, points)
	if p == nil {
		return nil
	}
	step := r.period / float64(points)
	from := run.angle[0] + step // of the profile
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range p {
		low, high = min(low, v), max(high, v)
	}
	if high-low < leastHump {
		return r.unclear("the pressure rises no more than %.3g bar in a cycle: is its scale right (volts not turned into bar), or is this another channel?", (high-low)/bar)
	}
	if high-low > unlikelyHigh {
		r.warn("the pressure rises %.4g bar in a cycle: is its scale right?", (high-low)/bar)
	}
	if upsideDown(p) {
		return r.unclear("the pressure falls to a trough where it should rise to a peak: is its sign right?")
	}
	first := r.report.First // angle of the reference after dead centre
	if math.IsNaN(first) {
		if r.set.Chamber == nil {
			return &model.Problem{Key: "first_deg", Given: "nothing", Want: "the angle of the reference after dead centre, or an engine to find it by"}
		}
		at, e, ok := centre(p, r.period, r.set.Chamber)
		if !ok {
			return r.unclear("no stretch of the pressure looks like the compression of this engine, so the angle of the reference cannot be found: is this its recording, are scale and wheel right?")
		}
		first = math.Remainder(-(from + at), 2*math.Pi)
		r.report.First, r.report.FirstError, r.report.FirstHow = first, e, "found from the compression"
	}
	// Firing is at the greatest hump of the dead centres there are.
	turns := int(math.Round(r.period / (2 * math.Pi)))
	best, second, which := math.Inf(-1), math.Inf(-1), 0
	for k := range turns {
		h := hump(p, step, 2*math.Pi*float64(k)-first-from)
		if h > best {
			best, second, which = h, best, k
		} else {
			second = max(second, h)
		}
	}
	if turns > 1 && second > leastHump && best < leastBetter*second {
		return r.unclear("the pressure has a hump at every dead centre (%.3g and %.3g bar): a two-stroke, or a wheel that turns at half speed? One hump in two turns is expected", best/bar, second/bar)
	}
	if best < leastHump {
		return r.unclear("the pressure has no hump at dead centre (%.3g bar): is the angle of the reference right?", best/bar)
	}
	r.report.Evidence = best / math.Max(second, 0.01*best)
	start := 2*math.Pi*float64(which) - first + r.start // where a cycle begins; the reference is at 0
	start += math.Ceil((run.angle[0]-start)/r.period-1e-9) * r.period
	run.next = start - r.start
	return nil
}

// upsideDown tells a profile whose peak points down: its least is further from the
// median than its greatest.
func upsideDown(p []float64) bool {
	low, middle, high := p[0], 0., p[0]
	for _, v := range p {
		low, high, middle = min(low, v), max(high, v), middle+v/float64(len(p))
	}
	return middle-low > 1.5*(high-middle)
}

func (r *Recording) unclear(format string, a ...any) error {
	return &NotClear{r.where, fmt.Sprintf(format, a...)}
}

func (r *Recording) warn(format string, a ...any) {
	text := fmt.Sprintf(format, a...)
	for _, w := range r.report.Warnings {
		if w == text {
			return
		}
	}
	r.report.Warnings = append(r.report.Warnings, text)
}
