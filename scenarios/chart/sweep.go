package chart

import (
	"cmp"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/plot/vg/draw"

	"phasebench/scenarios/sweep"
)

// Sweep draws torque, LPP with CA50, and peak pressure of r against spark
// advance, with MBT and the band in which at most 1 % of torque is lost.
func Sweep(r *sweep.Result, title string) *Chart {
	s := sorted(r)
	ch := &Chart{Title: title, Subtitle: s.summary(), x: s.axis(),
		About: "Torque, phasing and peak pressure against spark advance."}
	if len(s.all) > 0 {
		ch.Footer = conditions(&s.all[0].Operating)
	}

	torque := func(q *sweep.Point) float64 { return q.Torque }
	lpp := func(q *sweep.Point) float64 { return q.LPP / deg }
	ca50 := func(q *sweep.Point) float64 { return q.CA50 / deg }
	peak := func(q *sweep.Point) float64 { return q.Peak / bar }
	panels := []panel{
		{weight: 4, y: s.yAxis("torque at the brake [N·m]", 7, torque)},
		{weight: 3.7, y: s.yAxis("LPP and CA50 [deg after TDC]", 6, lpp, ca50)},
		{weight: 2.4, y: s.yAxis("peak pressure [bar]", 5, peak)},
	}
	smooth := s.smooth(torque)
	from, to := math.NaN(), math.NaN()
	if s.mbt != nil && s.mbt.Torque > 0 {
		from, to = s.band(smooth, func(y float64) bool { return y >= 0.99*s.mbt.Torque })
	}
	s.markBest(panels, from, to)

	top, mid, low := &panels[0], &panels[1], &panels[2]
	top.layers = append(top.layers, smooth)
	s.curve(top, torque, mainLine, false, draw.CircleGlyph{})
	s.curve(mid, lpp, mainLine, true, draw.CircleGlyph{})
	s.curve(mid, ca50, otherLine, true, draw.SquareGlyph{})
	s.curve(low, peak, mainLine, true, draw.CircleGlyph{})
	s.unlit(top, "did not light")
	if s.mbt != nil { // these also tell which curve is which
		s.ring(top, torque, plum, "MBT "+sparkText(s.mbt.Operating.Spark))
		s.ring(mid, lpp, blue, "LPP "+num(lpp(s.mbt), 1)+" deg at MBT")
		s.ring(mid, ca50, rust, "CA50 "+num(ca50(s.mbt), 1)+" deg at MBT")
		s.ring(low, peak, blue, num(peak(s.mbt), 1)+" bar at MBT")
	} else {
		mid.labels = append(mid.labels, label{"LPP", blue, s.anchors(lpp)}, label{"CA50", rust, s.anchors(ca50)})
	}
	if to > from {
		y, d := top.y.min, top.y.max-top.y.min
		top.labels = append(top.labels, label{bandText("within 1 % of MBT torque", smooth.xs, from, to), ink,
			[]anchor{{to, y + 0.1*d}, {to, y + 0.25*d}, {to, y + 0.5*d}, {from, y + 0.1*d}, {from, y + 0.25*d}}})
	}
	ch.panels = panels
	return ch
}

// markBest shades from to to in every panel, if that is a span, and rules the
// best spark.
func (s *points) markBest(panels []panel, from, to float64) {
	for i := range panels {
		p := &panels[i]
		if to > from {
			p.layers = append(p.layers, band{from, to})
		}
		if s.mbt != nil {
			p.layers = append(p.layers, rule{s.mbt.Operating.Spark / deg, halfLine})
		}
	}
}

// points is a sweep in rising order of spark.
type points struct {
	all, lit []sweep.Point
	mbt      *sweep.Point // nil: none
}

func sorted(r *sweep.Result) *points {
	s := &points{}
	for _, p := range r.Points {
		if finite(p.Operating.Spark) {
			s.all = append(s.all, p)
		}
	}
	slices.SortStableFunc(s.all, bySpark)
	for _, p := range s.all {
		if p.Lit {
			s.lit = append(s.lit, p)
		}
	}
	if m := r.MBT; m.Lit && finite(m.Operating.Spark, m.Torque) {
		s.mbt = &m
	}
	return s
}

func bySpark(a, b sweep.Point) int { return cmp.Compare(a.Operating.Spark, b.Operating.Spark) }

// withMBT returns the points that light, MBT among them.
func (s *points) withMBT() []sweep.Point {
	out := slices.Clone(s.lit)
	if s.mbt != nil {
		out = append(out, *s.mbt)
		slices.SortStableFunc(out, bySpark)
	}
	return out
}

func (s *points) summary() string {
	if s.mbt == nil {
		return ""
	}
	m := s.mbt
	out := "MBT " + sparkText(m.Operating.Spark) + "  ·  " + num(m.Torque, 2) + " N·m"
	for _, v := range []struct {
		name, unit string
		value      float64
	}{{"LPP", "deg", m.LPP / deg}, {"CA50", "deg", m.CA50 / deg}, {"peak", "bar", m.Peak / bar}} {
		if finite(v.value) {
			out += "  ·  " + v.name + " " + num(v.value, 1) + " " + v.unit
		}
	}
	return out
}

func (s *points) axis() axis {
	var sparks []float64
	for _, p := range append(s.withMBT(), s.all...) {
		sparks = append(sparks, p.Operating.Spark/deg)
	}
	lo, hi := span(sparks)
	if lo, hi = widen(lo, hi, false); hi-lo < 4 {
		lo, hi = (lo+hi)/2-5, (lo+hi)/2+5
	} else {
		lo, hi = pad(lo, hi, 0.04, false)
	}
	return newAxis("spark advance [deg before TDC]", angle, lo, hi, 10)
}

func (s *points) yAxis(title string, n int, get ...func(*sweep.Point) float64) axis {
	var ys []float64
	for _, p := range s.withMBT() {
		for _, g := range get {
			ys = append(ys, g(&p))
		}
	}
	lo, hi := span(ys)
	lo, hi = widen(lo, hi, false)
	return newAxis(title, linear, lo-0.12*(hi-lo), hi+0.25*(hi-lo), n)
}

func (s *points) anchors(get func(*sweep.Point) float64) (out []anchor) {
	for _, p := range s.lit {
		out = append(out, anchor{p.Operating.Spark / deg, get(&p)})
	}
	slices.Reverse(out)
	return out
}

// curve draws the samples, joined or not.
func (s *points) curve(p *panel, get func(*sweep.Point) float64, style draw.LineStyle, joined bool, g draw.GlyphDrawer) {
	t := trace{style: style}
	for _, q := range s.lit {
		t.xs, t.ys = append(t.xs, q.Operating.Spark/deg), append(t.ys, get(&q))
	}
	if joined {
		p.layers = append(p.layers, t)
	}
	t.glyph, t.style.Width = g, 0
	p.layers = append(p.layers, t)
}

// unlit marks the sparks that light nothing at the foot of p, with a word why.
func (s *points) unlit(p *panel, why string) {
	t := trace{style: draw.LineStyle{Color: muted}, glyph: draw.CrossGlyph{}}
	foot := p.y.min + 0.06*(p.y.max-p.y.min)
	var at []anchor
	for _, q := range s.all {
		if !q.Lit {
			x := q.Operating.Spark / deg
			t.xs, t.ys, at = append(t.xs, x), append(t.ys, foot), append(at, anchor{x, foot})
		}
	}
	if len(at) > 0 {
		p.layers = append(p.layers, t)
		p.labels = append(p.labels, label{why, muted, at})
	}
}

// ring marks the value at MBT, if it has one.
func (s *points) ring(p *panel, get func(*sweep.Point) float64, col color.Color, text string) {
	if x, y := s.mbt.Operating.Spark/deg, get(s.mbt); finite(y) {
		p.layers = append(p.layers, dot{x, y, draw.RingGlyph{}, halfLine})
		p.labels = append(p.labels, label{text, col, []anchor{{x, y}}})
	}
}

// smooth returns a number between the samples: Fritsch and Butland's curve,
// which has no humps of its own; straight lines if that cannot be had.
func (s *points) smooth(get func(*sweep.Point) float64) trace {
	t := trace{style: mainLine}
	for _, p := range s.withMBT() {
		x := p.Operating.Spark / deg
		if n, y := len(t.xs), get(&p); finite(y) && (n == 0 || x > t.xs[n-1]+1e-6) {
			t.xs, t.ys = append(t.xs, x), append(t.ys, y)
		}
	}
	var fb interp.FritschButland
	if len(t.xs) < 3 || fb.Fit(t.xs, t.ys) != nil {
		return t
	}
	const n = 400
	fine := trace{style: t.style}
	lo, hi := t.xs[0], t.xs[len(t.xs)-1]
	for i := range n + 1 {
		x := lo + (hi-lo)*float64(i)/n
		fine.xs, fine.ys = append(fine.xs, x), append(fine.ys, fb.Predict(x))
	}
	return fine
}

// band returns the sparks [deg] around that of s.mbt between which the curve t
// stays within; NaN where the curve is none.
func (s *points) band(t trace, within func(float64) bool) (from, to float64) {
	if len(t.xs) < 3 {
		return math.NaN(), math.NaN()
	}
	near, _ := nearest(t.xs, s.mbt.Operating.Spark/deg, len(t.xs))
	i, j := near, near
	for i > 0 && within(t.ys[i-1]) {
		i--
	}
	for j < len(t.xs)-1 && within(t.ys[j+1]) {
		j++
	}
	return t.xs[i], t.xs[j]
}

// bandText does not claim an end where the samples end.
func bandText(text string, xs []float64, from, to float64) string {
	low, high := from > xs[0], to < xs[len(xs)-1]
	switch {
	case low && high:
		return text + ": " + num(from, 1) + " to " + num(to, 1) + " deg"
	case low:
		return text + " from " + num(from, 1) + " deg"
	case high:
		return text + " up to " + num(to, 1) + " deg"
	default:
		return "all " + text
	}
}
