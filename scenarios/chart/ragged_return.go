package chart

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/stat"
)

// Return draws IMEP of every cycle against that of the one before. Points lie
// round about the mean if cycles know nothing of each other, along the diagonal
// if good follows good, across it if good follows bad. The correlation in the
// caption is Pearson's, of all pairs of neighbours that both have an IMEP; with
// misfires among them, also that of the pairs without.
func Return(r *Ragged, title string) *Chart {
	lit, unlit := r.pairs()
	ch := &Chart{Title: title, Footer: r.footer(), About: "IMEP of a cycle against IMEP of the cycle before.",
		Subtitle: strings.Join(append(append(r.correlation(lit, unlit), r.work()...), r.missed()...), "  ·  ")}
	lo, hi := span(lit.xs, lit.ys, unlit.xs, unlit.ys)
	if lo < hi {
		lo, hi = pad(lo, hi, 0.08, false)
	}
	ch.x = newAxis("IMEP of the cycle before [bar]", linear, lo, hi, 9)
	p := panel{weight: 1, y: newAxis("IMEP [bar]", linear, lo, hi, 8)}
	ends := []float64{ch.x.min, ch.x.max}
	p.layers = append(p.layers, trace{xs: ends, ys: ends, style: grayLine}, lit, unlit)
	if n := len(unlit.xs); n > 0 {
		p.labels = append(p.labels, label{"a misfire, before or now", rust, unlit.anchors()})
	}
	var at []anchor
	for _, share := range []float64{0.08, 0.92, 0.16, 0.84, 0.24, 0.76} {
		v := ends[0] + share*(ends[1]-ends[0])
		at = append(at, anchor{v, v})
	}
	p.labels = append(p.labels, label{"equal", muted, at})
	ch.panels = []panel{p}
	return ch
}

// pairs returns IMEP against the one before [bar]: pairs of cycles that are
// lit, and pairs with a misfire.
func (r *Ragged) pairs() (lit, unlit cloud) {
	lit, unlit = cloud{col: blue}, cloud{col: rust, cross: true}
	for i := 1; i < len(r.IMEP); i++ {
		c := &lit
		if !r.lit(i) || !r.lit(i-1) {
			c = &unlit
		}
		if finite(r.IMEP[i-1], r.IMEP[i]) {
			c.xs, c.ys = append(c.xs, r.IMEP[i-1]/bar), append(c.ys, r.IMEP[i]/bar)
		}
	}
	return lit, unlit
}

// correlation tells the lag-1 correlation, and what chance alone would bring:
// 95 of 100 runs of n unrelated cycles stay within 1.96/√n, for a large n
// (M. Bartlett, 1946; from memory).
func (r *Ragged) correlation(lit, unlit cloud) []string {
	n := len(lit.xs) + len(unlit.xs)
	of := func(x, y []float64) float64 {
		if len(x) < 3 {
			return math.NaN()
		}
		return stat.Correlation(x, y, nil)
	}
	all := of(append(append([]float64{}, lit.xs...), unlit.xs...), append(append([]float64{}, lit.ys...), unlit.ys...))
	if !finite(all) {
		return []string{"lag-1 correlation: none of " + counted(n, "pair")}
	}
	text := "lag-1 correlation " + num(all, 2) + " of " + counted(n, "pair") + " (by chance within ±" + num(1.96/math.Sqrt(float64(n)), 2) + ")"
	if without := of(lit.xs, lit.ys); len(unlit.xs) > 0 && finite(without) {
		text += ", " + num(without, 2) + " without misfires"
	}
	return []string{text}
}
