package chart

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg/draw"

	fitting "phasebench/scenarios/fit"
)

// Fitted draws the mean recorded pressure with the fitted model's, and what is left, over
// the part of the cycle where the fit looked.
func Fitted(r *fitting.Result, title string) *Chart {
	var theta, measured, model, left, motored, motoredModel []float64
	for i, at := range r.Theta {
		x := at / deg
		if !(x > -200 && x < 180) {
			continue
		}
		theta, measured, model = append(theta, x), append(measured, r.Measured[i]/bar), append(model, r.Model[i]/bar)
		d := math.NaN()
		if r.Counts[i] {
			d = (r.Measured[i] - r.Model[i]) / bar
		}
		left = append(left, d)
		if r.Motored[0] != nil {
			motored, motoredModel = append(motored, r.Motored[0][i]/bar), append(motoredModel, r.Motored[1][i]/bar)
		}
	}
	ch := &Chart{Title: title, Subtitle: fmt.Sprintf("what is left: %s bar rms where the fit looked", num(r.RMS/bar, 3)), Footer: point(&r.Engine.Point),
		About: "Mean recorded pressure and that of the fitted model against angle, and their difference below.", x: newAxis(angleTitle, angle, -200, 180, 12)}
	_, top := span(measured, model)
	p := panel{weight: 5, y: newAxis("pressure [bar]", linear, 0, 1.1*top, 6)}
	p.layers = append(p.layers, trace{xs: theta, ys: measured, style: mainLine}, trace{xs: theta, ys: model, style: otherLine})
	high := 0
	for i := range measured {
		if measured[i] > measured[high] {
			high = i
		}
	}
	p.labels = append(p.labels, label{"recorded, mean of the cycles", blue, around(theta, measured, high+12)}, label{"model", rust, around(theta, model, high+30)})
	if motored != nil {
		p.layers = append(p.layers, trace{xs: theta, ys: motored, style: grayLine}, trace{xs: theta, ys: motoredModel, style: thirdLine})
		p.labels = append(p.labels, label{"motored", muted, around(theta, motored, len(theta)*2/5)})
	}
	lo, hi := span(left)
	lo, hi = pad(math.Min(lo, 0), math.Max(hi, 0), 0.1, false)
	low := panel{weight: 2.4, y: newAxis("recorded less model [bar]", linear, lo, hi, 4), layers: []layer{trace{xs: theta, ys: left, style: mainLine}}}
	ch.panels = []panel{p, low}
	return ch
}

// around are anchors on a line near sample i.
func around(xs, ys []float64, i int) (out []anchor) {
	for _, k := range []int{0, 6, -6, 14, -14} {
		if j := i + k; j >= 0 && j < len(xs) {
			out = append(out, anchor{xs[j], ys[j]})
		}
	}
	return out
}

// Profiled draws how much worse a fit becomes as one parameter is held elsewhere, in the
// parameter's own unit.
func Profiled(r *fitting.Result, k int, title string) *Chart {
	q := r.Profiles[k]
	p := &r.Parameters[q.Parameter]
	x := make([]float64, len(q.At))
	for i, v := range q.At {
		x[i] = v / p.By
	}
	name := p.Name
	if p.Unit != "" {
		name += " [" + p.Unit + "]"
	}
	ch := Lines(title, Axis{Title: name}, Axis{Title: "cost beyond the least [-]"}, []Curve{{X: x, Y: q.Worse}},
		[]Mark{{X: p.Value / p.By, Text: fmt.Sprintf("%s ± %s", num(p.Value/p.By, 3), num(p.Error/p.By, 3))}})
	ch.Subtitle = "all other parameters follow; a trough as narrow as the error says that the recording tells this one"
	ch.Footer = point(&r.Engine.Point)
	return ch
}

// Burns draws spark to 10 % burned against 10 to 90 % of every cycle, recorded and imitated.
func Burns(m *fitting.Imitation, title string) *Chart {
	points := func(a [][2]float64) (x, y []float64) {
		for _, v := range a {
			x, y = append(x, v[0]/deg), append(y, v[1]/deg)
		}
		return x, y
	}
	sd := func(v []float64) string {
		_, sd := spread(v)
		return num(sd, 2)
	}
	rx, ry := points(m.Recorded.Angles)
	ix, iy := points(m.Imitated.Angles)
	lo, hi := span(rx, ix)
	lo, hi = pad(lo, hi, 0.05, false)
	ch := &Chart{Title: title, About: "Burn angles of recorded cycles and of cycles made by the fitted engine with the knobs found.", x: newAxis("spark to 10 % burned [deg]", linear, lo, hi, 9),
		Subtitle: fmt.Sprintf("sd %s and %s deg recorded, %s and %s deg imitated", sd(rx), sd(ry), sd(ix), sd(iy))}
	lo, hi = span(ry, iy)
	lo, hi = pad(lo, hi, 0.05, false)
	p := panel{weight: 1, y: newAxis("10 to 90 % burned [deg]", linear, lo, hi, 7)}
	for i := range ix {
		p.layers = append(p.layers, dot{ix[i], iy[i], draw.PlusGlyph{}, otherLine})
	}
	for i := range rx {
		p.layers = append(p.layers, dot{rx[i], ry[i], draw.RingGlyph{}, mainLine})
	}
	p.labels = []label{{"recorded (ring)", blue, []anchor{{lo, hi}, {ch.x.min, p.y.max}}}, {"imitated (plus)", rust, []anchor{{ch.x.max, p.y.max}, {ch.x.max, p.y.min}}}}
	ch.panels = []panel{p}
	return ch
}
