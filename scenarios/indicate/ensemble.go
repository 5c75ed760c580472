package indicate

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat"
)

// Lines between bad cycles and others. Our own choice: the trade draws them where it
// likes.
const (
	MisfireHeat = 0.1 // of the median heat [-]; less is a misfire, and so is an IMEPNet below 0
	PartialHeat = 0.8 // of the median heat [-]; less is a partial burn
)

// UsualKnockLevel is the MAPO above which a cycle counts as knocking [Pa] where none is
// told: 0.5 bar. Our own choice.
const UsualKnockLevel = 0.5e5

// Mean is the mean of many cycles. Random is its standard error from the scatter of the
// cycles, correlation between neighbours allowed for: it falls with their number.
// Systematic, from what is wrong with all cycles alike, TDC, zero and what is left
// out, does not.
// (That of the zero has some noise of single cycles in it, and is on the safe side.)
type Mean struct {
	Value, Random, Systematic float64
	SD                        float64 // of single cycles
	Cycles, Missing           int     // with a number, and without (NaN)
}

// Error is the whole standard error.
func (m Mean) Error() float64 { return math.Hypot(m.Random, m.Systematic) }

// Summary is what an Ensemble comes to. NaN where there is nothing to tell.
type Summary struct {
	Cycles                              int
	LPP, Peak, IMEPGross, IMEPNet, PMEP Mean       // [rad], [Pa]
	Compression, Expansion              Mean       // [-]
	Heat                                Mean       // [J]
	CA10, CA50, CA90                    Mean       // by the first law [rad]
	RatioCA10, RatioCA50, RatioCA90     Mean       // by Rassweiler and Withrow [rad]
	Zero                                Mean       // [Pa]; its Systematic is 0
	COVGross, COVNet                    float64    // sd over mean of IMEP [-]
	LNV                                 float64    // lowest normalised value: least IMEPNet over its mean [-]
	LPPAt                               [5]float64 // quantiles of LPP [rad], see Quantiles
	Neighbours                          float64    // correlation of IMEPNet with that of the next cycle [-]
	Misfires, Partial                   int        // a misfire is no partial burn
	Knocking                            float64    // share of the cycles looked at with a MAPO above Level [-]
	Heard                               int        // cycles looked at for knock
	MAPO                                Mean       // [Pa]
	Onset                               Mean       // of those above Level [rad]
}

// Quantiles are those of LPP in a Summary.
var Quantiles = [5]float64{0.05, 0.25, 0.5, 0.75, 0.95}

// quantities are the Means of Numbers, in the order of Ensemble.of. part is nil where shift
// and zero have none.
var quantities = []struct {
	to   func(s *Summary) *Mean
	of   func(n *Numbers) float64
	part func(v *values) float64
}{
	{func(s *Summary) *Mean { return &s.LPP }, func(n *Numbers) float64 { return n.LPP.Value }, func(v *values) float64 { return v.lpp }},
	{func(s *Summary) *Mean { return &s.Peak }, func(n *Numbers) float64 { return n.Peak.Value }, func(v *values) float64 { return v.peak }},
	{func(s *Summary) *Mean { return &s.IMEPGross }, func(n *Numbers) float64 { return n.IMEPGross.Value }, func(v *values) float64 { return v.gross }},
	{func(s *Summary) *Mean { return &s.IMEPNet }, func(n *Numbers) float64 { return n.IMEPNet.Value }, func(v *values) float64 { return v.net }},
	{func(s *Summary) *Mean { return &s.PMEP }, func(n *Numbers) float64 { return n.PMEP.Value }, func(v *values) float64 { return v.net - v.gross }},
	{func(s *Summary) *Mean { return &s.Compression }, func(n *Numbers) float64 { return n.Compression.Value }, func(v *values) float64 { return v.compression }},
	{func(s *Summary) *Mean { return &s.Expansion }, func(n *Numbers) float64 { return n.Expansion.Value }, func(v *values) float64 { return v.expansion }},
	{func(s *Summary) *Mean { return &s.Heat }, func(n *Numbers) float64 { return n.Heat.Value }, func(v *values) float64 { return v.heat }},
	{func(s *Summary) *Mean { return &s.CA10 }, func(n *Numbers) float64 { return n.burned(n.Burn.CA10) }, func(v *values) float64 { return v.burn[0] }},
	{func(s *Summary) *Mean { return &s.CA50 }, func(n *Numbers) float64 { return n.burned(n.Burn.CA50) }, func(v *values) float64 { return v.burn[1] }},
	{func(s *Summary) *Mean { return &s.CA90 }, func(n *Numbers) float64 { return n.burned(n.Burn.CA90) }, func(v *values) float64 { return v.burn[2] }},
	{func(s *Summary) *Mean { return &s.RatioCA10 }, func(n *Numbers) float64 { return n.burned(n.Ratio.CA10) }, func(v *values) float64 { return v.ratio[0] }},
	{func(s *Summary) *Mean { return &s.RatioCA50 }, func(n *Numbers) float64 { return n.burned(n.Ratio.CA50) }, func(v *values) float64 { return v.ratio[1] }},
	{func(s *Summary) *Mean { return &s.RatioCA90 }, func(n *Numbers) float64 { return n.burned(n.Ratio.CA90) }, func(v *values) float64 { return v.ratio[2] }},
	{func(s *Summary) *Mean { return &s.Zero }, func(n *Numbers) float64 { return n.Zero.Value }, nil},
}

// burned is a burn angle; NaN where nothing burned to speak of, so that noise of a misfire
// is not taken for a burn: work below 0, or heat within three of its errors of 0 (our own
// choice).
func (n *Numbers) burned(angle Number) float64 {
	if n.IMEPNet.Value < 0 || n.Heat.Value < 3*n.Heat.Error {
		return math.NaN()
	}
	return angle.Value
}

// Ensemble sums up many cycles of one operating point, in the order in which they ran.
// It keeps three numbers of each cycle: IMEPNet, LPP and heat. Its zero
// value is empty and ready.
type Ensemble struct {
	Level float64 // of MAPO [Pa]; 0: UsualKnockLevel

	cycles                      int
	of, turned, lifted, lacking []series
	mapo, onset                 series
	loud                        int
	net, lpp, heat              []float64
}

// Add takes what Cycle made of the next cycle.
func (e *Ensemble) Add(n *Numbers) {
	if e.of == nil {
		for _, to := range []*[]series{&e.of, &e.turned, &e.lifted, &e.lacking} {
			*to = make([]series, len(quantities))
		}
	}
	e.cycles++
	for i, q := range quantities {
		e.of[i].add(q.of(n))
		if q.part != nil {
			e.turned[i].add(q.part(&n.turned))
			e.lifted[i].add(q.part(&n.lifted))
			e.lacking[i].add(q.part(&n.lacking))
		}
	}
	e.net, e.lpp, e.heat = append(e.net, n.IMEPNet.Value), append(e.lpp, n.LPP.Value), append(e.heat, n.Heat.Value)
}

// Hear takes what Knock made of the next cycle.
func (e *Ensemble) Hear(k *Knock) {
	e.mapo.add(k.MAPO.Value)
	level := e.Level
	if level == 0 {
		level = UsualKnockLevel
	}
	if k.MAPO.Value > level {
		e.loud++
		e.onset.add(k.Onset)
	}
}

// Sum sums up what was added so far.
func (e *Ensemble) Sum() Summary {
	out := Summary{Cycles: e.cycles, Heard: e.mapo.n, Knocking: math.NaN(), LNV: math.NaN(), Neighbours: math.NaN()}
	for i, q := range quantities {
		m := q.to(&out)
		if e.of == nil {
			*m = (&series{}).told(0)
			continue
		}
		systematic := 0.
		if q.part != nil {
			systematic = math.Hypot(math.Hypot(e.turned[i].mean(), e.lifted[i].mean()), e.lacking[i].mean())
		}
		*m = e.of[i].told(systematic)
		if m == &out.IMEPNet && m.Cycles > 2 {
			out.Neighbours = e.of[i].correlation(1)
		}
	}
	out.MAPO, out.Onset = e.mapo.told(0), e.onset.told(0)
	if e.mapo.n > 0 {
		out.Knocking = float64(e.loud) / float64(e.mapo.n)
	}
	out.COVGross, out.COVNet = out.IMEPGross.SD/out.IMEPGross.Value, out.IMEPNet.SD/out.IMEPNet.Value
	if net := sorted(e.net); len(net) > 0 {
		out.LNV = net[0] / out.IMEPNet.Value
	}
	lpp := sorted(e.lpp)
	for i, q := range Quantiles {
		out.LPPAt[i] = quantile(q, lpp)
	}
	median := quantile(0.5, sorted(e.heat))
	for i, h := range e.heat {
		switch {
		case e.net[i] < 0 || h < MisfireHeat*median:
			out.Misfires++
		case h < PartialHeat*median:
			out.Partial++
		}
	}
	return out
}

// told is s as a Mean.
func (s *series) told(systematic float64) Mean {
	if s.n == 0 {
		nan := math.NaN()
		return Mean{nan, nan, nan, nan, 0, s.missing}
	}
	return Mean{s.mean(), s.error(), systematic, s.sd(), s.n, s.missing}
}

// sorted is x in ascending order, without NaN.
func sorted(x []float64) []float64 {
	var out []float64
	for _, v := range x {
		if !math.IsNaN(v) {
			out = append(out, v)
		}
	}
	sort.Float64s(out)
	return out
}

// quantile of a sorted row, linear between its members; NaN of none.
func quantile(q float64, row []float64) float64 {
	if len(row) == 0 {
		return math.NaN()
	}
	return stat.Quantile(q, stat.LinInterp, row, nil)
}
