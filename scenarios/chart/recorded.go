package chart

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg/draw"

	"phasebench/scenarios/indicate"
)

// RecordedPV draws the mean recorded cycle as log p over log V, with the polytropes of
// its compression and expansion.
func RecordedPV(t *indicate.Trace, compression, expansion float64, title string) *Chart {
	v, p := make([]float64, len(t.Volume)), make([]float64, len(t.Volume))
	least := 0
	for i := range v {
		v[i], p[i] = t.Volume[i]/cc, t.Pressure[i]/bar
		if t.Volume[i] < t.Volume[least] && math.Abs(t.Theta[i]) < math.Pi/2 {
			least = i
		}
	}
	curves := []Curve{{X: v, Y: p, Name: "mean of the cycles"}}
	straight := func(n, at float64, name string) {
		if !finite(n) {
			return
		}
		k := 0
		for i := range t.Theta {
			if t.Theta[i] <= at {
				k = i
			}
		}
		var x, y []float64
		low, high := v[least], v[least]*8
		for i := range 21 {
			q := low * math.Pow(high/low, float64(i)/20)
			x, y = append(x, q), append(y, p[k]*math.Pow(v[k]/q, n))
		}
		curves = append(curves, Curve{X: x, Y: y, Name: fmt.Sprintf("%s, exponent %s", name, num(n, 3))})
	}
	straight(compression, -75*deg, "compression")
	straight(expansion, 85*deg, "expansion")
	return Lines(title, Axis{Title: "volume [cm³]", Log: true}, Axis{Title: "pressure [bar]", Log: true}, curves, nil)
}

// Released draws burned fraction of recorded cycles, thin, and of their mean.
func Released(mean *indicate.Trace, cycles []*indicate.Trace, b *indicate.Summary, title string) *Chart {
	lo, hi := -45., 90.
	ch := &Chart{Title: title, x: newAxis(angleTitle, angle, lo, hi, 12), About: "Burned fraction of recorded cycles by the first law, and its rate for their mean.",
		Subtitle: fmt.Sprintf("CA10, CA50, CA90: %s, %s, %s deg", num(b.CA10.Value/deg, 1), num(b.CA50.Value/deg, 1), num(b.CA90.Value/deg, 1))}
	theta := scaled(mean.Theta, 1/deg)
	share := scaled(mean.Burned, 100)
	var all [][]float64
	for _, c := range cycles {
		all = append(all, scaled(c.Burned, 100))
	}
	_, top := span(append([][]float64{cut(theta, share, lo, hi)}, all...)...)
	p := panel{weight: 4, y: newAxis("burned of what could burn [%]", linear, -5, math.Max(100, 1.05*math.Min(top, 150)), 5)}
	p.layers = append(p.layers, bundle{theta, all, thinLine}, trace{xs: theta, ys: share, style: boldLine})
	half, _ := nearest(theta, b.CA50.Value/deg, len(theta))
	p.labels = append(p.labels, label{"mean of the cycles", ink, around(theta, share, half)})
	for _, m := range []struct {
		name string
		at   float64
	}{{"CA10", b.CA10.Value}, {"CA50", b.CA50.Value}, {"CA90", b.CA90.Value}} {
		if x := m.at / deg; x > lo && x < hi {
			k, _ := nearest(theta, x, len(theta))
			p.layers = append(p.layers, dot{x, share[k], draw.CircleGlyph{}, halfLine})
		}
	}
	rate := make([]float64, len(share))
	const around = 2 // samples either way
	for i := range rate {
		rate[i] = math.NaN()
		if i >= around && i+around < len(share) {
			rate[i] = (share[i+around] - share[i-around]) / (theta[i+around] - theta[i-around])
		}
	}
	low, high := span(cut(theta, rate, lo, hi))
	low, high = pad(math.Min(low, 0), high, 0.08, false)
	ch.panels = []panel{p, {weight: 2.4, y: newAxis("rate of the mean [%/deg]", linear, low, high, 4), layers: []layer{trace{xs: theta, ys: rate, style: mainLine}}}}
	return ch
}

// Run draws net IMEP and LPP of every cycle in turn; broken cycles are rules.
func Run(number, imep, lpp []float64, broken []int, title string) *Chart {
	lo, hi := span(number)
	for _, b := range broken {
		lo, hi = math.Min(lo, float64(b)), math.Max(hi, float64(b))
	}
	if !(hi > lo) {
		hi = lo + 1
	}
	ch := &Chart{Title: title, x: newAxis("cycle", linear, lo-0.5, hi+0.5, 10), About: "Net IMEP and location of peak pressure, cycle by cycle."}
	if n := len(broken); n > 0 {
		ch.Subtitle = counted(n, "broken cycle") + ", dashed"
	}
	for _, x := range []struct {
		title  string
		v      []float64
		weight float64
	}{{"net IMEP [bar]", scaled(imep, 1/bar), 1}, {"LPP [deg after TDC]", scaled(lpp, 1/deg), 1}} {
		low, high := span(x.v)
		low, high = pad(low, high, 0.1, false)
		p := panel{weight: x.weight, y: newAxis(x.title, linear, low, high, 5)}
		for _, b := range broken {
			p.layers = append(p.layers, rule{float64(b), misfireLine})
		}
		p.layers = append(p.layers, cloud{xs: number, ys: x.v, col: blue})
		mean, _ := spread(x.v)
		p.layers = append(p.layers, trace{xs: []float64{lo - 0.5, hi + 0.5}, ys: []float64{mean, mean}, style: halfLine})
		ch.panels = append(ch.panels, p)
	}
	return ch
}
