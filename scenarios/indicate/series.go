package indicate

import "math"

// lags is over how many cycles the correlation of neighbours is counted. Our own choice:
// residual gas, the only thing that one cycle hands on at a steady point, has died away
// by then.
const lags = 5

// series sums up numbers that come one after the other, in flat memory. NaN are counted
// and take part in nothing, nor do pairs with them.
type series struct {
	n, missing int
	origin     float64 // the first: numbers are held against it
	sum, sq    float64
	last       [lags]float64 // newest first
	pair       [lags]struct{ n, x, y, xy float64 }
}

func (s *series) add(v float64) {
	if s.n == 0 && s.missing == 0 {
		for k := range s.last {
			s.last[k] = math.NaN()
		}
	}
	d := math.NaN()
	if math.IsNaN(v) {
		s.missing++
	} else {
		if s.n == 0 {
			s.origin = v
		}
		d = v - s.origin
		s.n++
		s.sum, s.sq = s.sum+d, s.sq+d*d
		for k, before := range s.last {
			if !math.IsNaN(before) {
				p := &s.pair[k]
				p.n, p.x, p.y, p.xy = p.n+1, p.x+before, p.y+d, p.xy+before*d
			}
		}
	}
	copy(s.last[1:], s.last[:lags-1])
	s.last[0] = d
}

// mean is NaN without a number.
func (s *series) mean() float64 { return s.origin + s.sum/float64(s.n) }

// sd is NaN with fewer than two.
func (s *series) sd() float64 {
	n := float64(s.n)
	return math.Sqrt(math.Max(0, s.sq-s.sum*s.sum/n) / (n - 1))
}

// correlation is that with the number lag before, 1 to lags; 0 where there is none.
func (s *series) correlation(lag int) float64 {
	p, n := &s.pair[lag-1], float64(s.n)
	mean := s.sum / n
	spread := s.sq/n - mean*mean
	if p.n < 2 || !(spread > 0) {
		return 0
	}
	return (p.xy/p.n - mean*(p.x+p.y)/p.n + mean*mean) / spread
}

// error is the standard error of the mean: neighbours that are alike tell less than
// strangers, by which the variance of the mean grows to
//
//	s²/n · (1 + 2·Σ (1−k/n)·ρk),  k = 1 … lags,
//
// not below that of strangers (variance of the mean of an autocorrelated series:
// Bartlett 1946, from memory; the floor is our own choice, on the safe side).
func (s *series) error() float64 {
	n := float64(s.n)
	grow := 1.
	for k := 1; k <= lags; k++ {
		grow += 2 * math.Max(0, 1-float64(k)/n) * s.correlation(k)
	}
	return s.sd() / math.Sqrt(n) * math.Sqrt(math.Max(1, grow))
}
