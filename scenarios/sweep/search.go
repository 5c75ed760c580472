package sweep

import "math"

// peak climbs from x to a maximum of f between low and high: in each stride h
// of strides it moves on until neither neighbour h away is higher, then to the
// vertex of the parabola through the three. f is -Inf where it has no value,
// and so must not be at x. With a last stride over which the third derivative
// and the noise of f both hardly count, the vertex lies nearer the maximum than
// the highest value that a finer search would meet.
func peak(f func(float64) (float64, error), x, low, high float64, strides ...float64) (float64, error) {
	for _, h := range strides {
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
