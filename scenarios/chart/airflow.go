package chart

import (
	"math"

	"gonum.org/v1/plot/vg/draw"

	"phasebench/scenarios/sweep"
)

// Airflow draws what it takes to hold one torque: air, manifold pressure and
// where the peak lands, against spark. The spark of least is the one that
// takes least; the band takes at most 1 % more.
func Airflow(all []sweep.Point, least sweep.Point, title string) *Chart {
	s := sorted(&sweep.Result{Points: all, MBT: least})
	ch := &Chart{Title: title, x: s.axis(),
		About: "Airflow, manifold pressure and location of peak pressure against spark advance, the brake torque held."}
	air := func(q *sweep.Point) float64 { return 1e3 * q.Airflow }
	manifold := func(q *sweep.Point) float64 { return q.Operating.MAP / 1e3 }
	lpp := func(q *sweep.Point) float64 { return q.LPP / deg }
	panels := []panel{
		{weight: 4, y: s.yAxis("airflow [g/s]", 6, air)},
		{weight: 3, y: s.yAxis("manifold pressure [kPa]", 5, manifold)},
		{weight: 2.6, y: s.yAxis("LPP [deg after TDC]", 5, lpp)},
	}
	for i := range panels[:2] { // room below the least for its label
		y := &panels[i].y
		*y = newAxis(y.title, linear, y.min-0.2*(y.max-y.min), y.max-0.05*(y.max-y.min), 6)
	}
	curve := s.smooth(air)
	from, to := math.NaN(), math.NaN()
	if s.mbt != nil {
		from, to = s.band(curve, func(y float64) bool { return y <= 1.01*air(s.mbt) })
	}
	s.markBest(panels, from, to)
	top, mid, low := &panels[0], &panels[1], &panels[2]
	top.layers = append(top.layers, curve)
	s.curve(top, air, mainLine, false, draw.CircleGlyph{})
	mid.layers = append(mid.layers, s.smooth(manifold))
	s.curve(mid, manifold, mainLine, false, draw.CircleGlyph{})
	s.curve(low, lpp, mainLine, true, draw.CircleGlyph{})
	s.unlit(top, "torque not held")
	if s.mbt != nil {
		op := &s.mbt.Operating
		s.ring(top, air, plum, "least air "+num(air(s.mbt), 3)+" g/s, spark "+sparkText(op.Spark))
		s.ring(mid, manifold, blue, num(manifold(s.mbt), 1)+" kPa")
		s.ring(low, lpp, blue, "LPP "+num(lpp(s.mbt), 1)+" deg")
		ch.Footer = num(op.Speed/rpm, 0) + " rpm, lambda " + num(op.Lambda, 2)
		if finite(s.mbt.Torque) {
			ch.Footer += ", brake torque " + num(s.mbt.Torque, 1) + " N·m held"
		}
		ch.Subtitle = s.airSummary(curve, air)
	}
	if to > from {
		ends := curve.xs
		at := []anchor{}
		for _, share := range []float64{0.92, 0.8, 0.68} {
			y := top.y.min + share*(top.y.max-top.y.min)
			at = append(at, anchor{to, y}, anchor{from, y})
		}
		top.labels = append(top.labels, label{bandText("at most 1 % more air", ends, from, to), ink, at})
	}
	ch.panels = panels
	return ch
}

// airSummary tells what it takes at the best and what a spark 10 deg from it
// costs, as far as the curve of the air reaches.
func (s *points) airSummary(curve trace, air func(*sweep.Point) float64) string {
	out := "least air " + num(air(s.mbt), 3) + " g/s"
	if m := s.mbt.Operating.MAP / 1e3; finite(m) {
		out += "  ·  manifold " + num(m, 1) + " kPa"
	}
	for _, d := range []struct {
		name string
		by   float64
	}{{"10 deg later", -10}, {"10 deg earlier", 10}} {
		if y := between(curve.xs, curve.ys, s.mbt.Operating.Spark/deg+d.by); finite(y) && air(s.mbt) > 0 {
			out += "  ·  " + d.name + " +" + num(100*(y/air(s.mbt)-1), 1) + " %"
		}
	}
	return out
}
