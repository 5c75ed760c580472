package valve

// curve is a monotone piecewise cubic: between two knots it stays between
// their values, its slope is continuous, and zero at both ends, beyond which
// it keeps the value of the end. Slopes at the inner knots by F.N. Fritsch and
// J. Butland, SIAM J. Sci. Stat. Comput. 5:300, 1984, for uneven spacing.
type curve struct {
	pieces []piece
	end    float64 // last knot
	last   float64 // value there
}

// piece is a + b·s + c·s² + d·s³, s = x − from.
type piece struct{ from, a, b, c, d float64 }

// newCurve takes at least one knot, strictly ascending.
func newCurve(x, y []float64) curve {
	n := len(x) - 1
	k := curve{pieces: make([]piece, n), end: x[n], last: y[n]}
	left := 0. // slope at the left knot
	for i := range n {
		h := x[i+1] - x[i]
		chord, right := (y[i+1]-y[i])/h, 0.
		if i+1 < n {
			ahead := x[i+2] - x[i+1]
			next := (y[i+2] - y[i+1]) / ahead
			if chord*next > 0 {
				w := (1 + ahead/(h+ahead)) / 3
				right = chord * next / (w*next + (1-w)*chord)
			}
		}
		k.pieces[i] = piece{x[i], y[i], left, (3*chord - 2*left - right) / h, (left + right - 2*chord) / (h * h)}
		left = right
	}
	return k
}

func (k *curve) at(x float64) float64 {
	if x >= k.end || len(k.pieces) == 0 {
		return k.last
	}
	low, high := 0, len(k.pieces)
	for high-low > 1 {
		mid := int(uint(low+high) / 2)
		if x < k.pieces[mid].from {
			high = mid
		} else {
			low = mid
		}
	}
	p := &k.pieces[low]
	s := x - p.from
	if s < 0 {
		return p.a
	}
	return p.a + s*(p.b+s*(p.c+s*p.d))
}
