package sweep

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// peak climbs from x to a maximum of f between low and high: in each stride h
// of strides it moves on until neither neighbour h away is higher, then to the
// vertex of the parabola through the three, after the last stride by Newton's
// method. f is -Inf where it has no value, and so must not be at x. With a last
// stride over which the third derivative and the noise of f both hardly count,
// the vertex lies nearer the maximum than the highest value that a finer search
// would meet.
func peak(f func(float64) (float64, error), x, low, high float64, strides ...float64) (float64, error) {
	for k, h := range strides {
		for range 40 {
			x = math.Min(math.Max(x, low+h), high-h)
			var y [3]float64
			for i := range y {
				var err error
				if y[i], err = f(x + float64(i-1)*h); err != nil {
					return x, err
				}
			}
			switch {
			case y[0] > y[1] && y[0] >= y[2] && x > low+h:
				x -= h
				continue
			case y[2] > y[1] && x < high-h:
				x += h
				continue
			}
			at := 0.5 * h * (y[0] - y[2]) / (y[0] - 2*y[1] + y[2])
			switch {
			case math.Abs(at) <= h && k == len(strides)-1:
				return vertex(f, x, h)
			case math.Abs(at) <= h:
				x += at
			case y[0] > y[1]: // at the border
				x -= h
			case y[2] > y[1]:
				x += h
			}
			break
		}
	}
	return x, nil
}

// vertex finds, by gonum's Newton method from x, where f is as high h before as
// h behind: where the parabola through three values has its vertex in their
// middle. It stops within a thousandth of h.
func vertex(f func(float64) (float64, error), x, h float64) (float64, error) {
	var failed error
	at, y := math.NaN(), [3]float64{}
	look := func(z float64) *[3]float64 { // z in h from x
		if z != at {
			at = z
			for i := range y {
				if y[i], failed = f(x + (z+float64(i-1))*h); failed != nil {
					y[i] = math.Inf(-1)
				}
			}
		}
		return &y
	}
	bend := func(y *[3]float64) float64 { return 2*y[1] - y[0] - y[2] }
	scale := bend(look(0))
	if !(scale > 0) || math.IsInf(scale, 0) {
		return x, failed
	}
	r, err := optimize.Minimize(optimize.Problem{
		Func: func(z []float64) float64 { return -look(z[0])[1] / scale },
		Grad: func(dst, z []float64) { y := look(z[0]); dst[0] = (y[0] - y[2]) / 2 / scale },
		Hess: func(dst *mat.SymDense, z []float64) { dst.SetSym(0, 0, bend(look(z[0]))/scale) },
	}, []float64{0}, &optimize.Settings{GradientThreshold: 1e-3, MajorIterations: 8}, &optimize.Newton{})
	if failed != nil {
		return x, failed
	}
	// An error is one of the line search, which rounding can defeat so near the
	// top; what it has found by then is good.
	if z := r.X[0]; math.Abs(z) <= 1 {
		return x + z*h, nil
	}
	return x, err
}

// root finds where f changes its sign between a and b, at which it is fa and
// fb, to within dx, or to where |f| is at most df. It returns the ends between
// which the sign changes, the first on the side of a, and f there.
//
// Regula falsi with the weights of Anderson and Björck (BIT 13, 1973, 253-264,
// from memory), and a bisection whenever three steps have not halved the span.
func root(f func(float64) (float64, error), a, fa, b, fb, dx, df float64) (ends, values [2]float64, err error) {
	wa, wb := fa, fb // weighted
	span, since := math.Abs(b-a), 0
	for math.Abs(b-a) > dx && math.Abs(fa) > df && math.Abs(fb) > df {
		x := a - wa*(b-a)/(wb-wa)
		if since >= 3 || !(math.Abs(x-a) < math.Abs(b-a) && math.Abs(x-b) < math.Abs(b-a)) {
			x, span, since = a+(b-a)/2, math.Abs(b-a)/2, 0
			wa, wb = fa, fb
		}
		y, err := f(x)
		if err != nil {
			return ends, values, err
		}
		weight := func(old, new float64) float64 {
			if m := 1 - new/old; m > 0 {
				return m
			}
			return 0.5
		}
		if (y > 0) == (fb > 0) { // x takes the place of b
			wa *= weight(fb, y)
			b, fb, wb = x, y, y
		} else {
			wb *= weight(fa, y)
			a, fa, wa = x, y, y
		}
		since++
		if d := math.Abs(b - a); d <= span/2 {
			span, since = d, 0
		}
	}
	return [2]float64{a, b}, [2]float64{fa, fb}, nil
}
