package control

import "math"

// Its usual numbers are our own choice, from a scan on the invented plant of the tests:
// a smaller ratio or step holds the spark stiller, and is slower to answer excess knock.
var likelihoodKind = Kind{Name: "knock-likelihood", About: "moves when the knock rate is unlikely to be as asked for", Needs: []Need{NeedKnock},
	Numbers: []Number{
		knockThreshold,
		{"rate", "share of cycles that may knock", "-", 1, 0.001, 0.2, 0.01},
		{"ratio", "likelihood ratio that is small enough to move", "-", 1, 0.01, 0.9, 0.2},
		{"retard_deg", "least retard when it moves", "deg", deg, 0.01, 10, 1.5},
		{"advance_deg", "least advance when it moves", "deg", deg, 0.01, 5, 0.5},
		knockMost,
	},
	make: func(v values) Law {
		return &knockLikelihood{threshold: v["threshold"], rate: v["rate"], least: math.Log(v["ratio"]),
			retard: v["retard_deg"], advance: v["advance_deg"], most: v["most_deg"]}
	}}

// knockLikelihood holds a knock rate p₀, and leaves the spark alone as long as what it
// hears may well come from that rate. Of n cycles since the last move k knocked. They
// are binomial, and the likelihood of p₀ over that of the rate p̂ = k/n, which is the
// likeliest, is
//
//	Λ = (p₀/p̂)^k · ((1−p₀)/(1−p̂))^(n−k),  0 < Λ ≤ 1.
//
// When Λ falls below a threshold Λ₀ the spark moves, later if p̂ > p₀ and earlier else,
// by
//
//	D · ln Λ / ln Λ₀,
//
// D one step for retard and another for advance, and counting begins anew. A knock
// event in the first cycle has Λ = p₀; with none Λ = (1−p₀)^n.
//
// Source of Λ and of counting anew: J. C. Peyton Jones and others, SAE 2009-01-1017 and
// IEEE Trans. Control Syst. Technol. 21:2169, 2013 (from memory). That the step grows
// with the evidence is our own choice. A cycle that is not heard does not count.
type knockLikelihood struct {
	threshold, rate, least float64 // least: ln Λ₀
	retard, advance, most  float64
	n, k                   int
}

// Reset implements Law.
func (l *knockLikelihood) Reset() { l.n, l.k = 0, 0 }

// Next implements Law.
func (l *knockLikelihood) Next(s *Seen) Order {
	move := 0.
	if !unheard(s) {
		l.n++
		if s.Knock >= l.threshold {
			l.k++
		}
		if ratio := logLikelihood(l.n, l.k, l.rate); ratio < l.least {
			move = l.advance * ratio / l.least
			if float64(l.k) > l.rate*float64(l.n) {
				move = -l.retard * ratio / l.least
			}
			l.n, l.k = 0, 0
		}
	}
	return capped(together(s.Ordered.Leading+move), ahead(s, l.most))
}

// logLikelihood is ln Λ of k events in n cycles against the rate p, 0 < p < 1; 0 < n.
func logLikelihood(n, k int, p float64) float64 {
	term := func(count int, p float64) float64 {
		if count == 0 {
			return 0
		}
		return float64(count) * math.Log(p*float64(n)/float64(count))
	}
	return term(k, p) + term(n-k, 1-p)
}
