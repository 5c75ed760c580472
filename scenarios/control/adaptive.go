package control

import "gonum.org/v1/gonum/stat"

var adaptiveKind = Kind{Name: "adaptive", About: "integral with a gain that grows when the mean error stands out of the noise",
	Numbers: []Number{
		{"cycles", "readings that the gain is found from", "cycles", 1, 4, 1000, 16},
		{"least_gain", "move over error while the mean error is within its noise", "deg/deg", 1, 0, 0.1, 0.02},
		{"most_gain", "move over error when the mean error stands far out", "deg/deg", 1, 0.1, 2, 0.2},
		rate,
	},
	make: func(v values) Law {
		return &adaptive{least: v["least_gain"], most: v["most_gain"], rate: v["rate_deg"], recent: newRing[float64](int(v["cycles"]))}
	}}

// standsOut is by how many standard errors a mean error must be from 0 to count for
// more than noise: of independent normal errors 5 % are. Our own choice.
const standsOut = 2

// adaptive is the law integral with a gain between K₀ and K₁ that it finds anew each
// cycle from the last n errors e = LPP − target, of mean m and variance v,
//
//	K = K₀ + (K₁−K₀)·max(0, 1 − (2σ/m)²),  σ² = v/n.
//
// A step of the plant makes m stand out, so that it is followed fast; the variance of
// the readings makes it slow again. Our own choice, shaped like the weight
// 1 − noise/(signal+noise) that suits a mean of m² = signal + noise best. With fewer than 4
// readings K = K₀. A reading that declined moves nothing and does not count.
//
// On the pump set, at 8 points of 1500 to 3000 rpm and 45 to 95 kPa with 8 seeds each, K₁ = 0.2
// settles sooner than 0.5 in the mean of each, and hovers less: readings that stand out by
// chance throw it off less. See TestField of package loop.
type adaptive struct {
	least, most, rate float64
	recent            ring[float64] // errors [rad]
}

// Reset implements Law.
func (l *adaptive) Reset() { l.recent.clear() }

// Next implements Law.
func (l *adaptive) Next(s *Seen) Order {
	e := s.Reading.Angle - s.Target
	if !finite(e) {
		return together(s.Ordered.Leading)
	}
	l.recent.add(e)
	return together(s.Ordered.Leading + bounded(l.gain()*e, l.rate))
}

func (l *adaptive) gain() float64 {
	n := len(l.recent.all)
	if n < 4 {
		return l.least
	}
	m, v := stat.MeanVariance(l.recent.all, nil)
	share := 1 - standsOut*standsOut*v/float64(n)/(m*m)
	if !(share > 0) { // or 0/0
		return l.least
	}
	return l.least + (l.most-l.least)*share
}
