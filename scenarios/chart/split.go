package chart

import (
	"gonum.org/v1/plot/vg/draw"

	"phasebench/scenarios/sweep"
)

// Splits draws torque at MBT, MBT and where the peak then lands against the split of two
// plugs; the band is where the torque is flat.
func Splits(r *sweep.Splits, title string) *Chart {
	var split, torque, spark, lpp []float64
	for i := range r.Points {
		p := &r.Points[i]
		split, torque = append(split, p.Operating.Split/deg), append(torque, p.Torque)
		spark, lpp = append(spark, p.Operating.Spark/deg), append(lpp, p.LPP/deg)
	}
	lo, hi := span(split)
	b := &r.Best
	best := b.Operating.Split / deg
	ch := &Chart{Title: title, x: newAxis("trailing plug behind the leading one [deg]", angle, lo, hi, 12), Footer: conditions(&b.Operating),
		About:    "Brake torque at MBT, MBT of the leading plug and location of peak pressure against the split of two plugs.",
		Subtitle: "best at " + num(best, 1) + " deg  ·  within " + num(100*sweep.Flat, 0) + " % from " + num(r.From/deg, 1) + " to " + num(r.To/deg, 1) + " deg"}
	for i, x := range []struct {
		title  string
		v      []float64
		at     float64
		weight float64
	}{{"brake torque at MBT [N·m]", torque, b.Torque, 4}, {"MBT [deg before TDC]", spark, b.Operating.Spark / deg, 2.4}, {"LPP [deg after TDC]", lpp, b.LPP / deg, 2.4}} {
		low, high := span(x.v, []float64{x.at})
		low, high = pad(low, high, 0.15, false)
		p := panel{weight: x.weight, y: newAxis(x.title, linear, low, high, 5)}
		p.layers = append(p.layers, band{r.From / deg, r.To / deg}, rule{best, halfLine}, trace{xs: split, ys: x.v, style: mainLine, glyph: draw.CircleGlyph{}})
		text := num(x.at, 1)
		if i == 0 {
			text = "best split, " + num(x.at, 2) + " N·m"
		}
		p.mark(best, x.at, draw.RingGlyph{}, halfLine, text)
		ch.panels = append(ch.panels, p)
	}
	return ch
}
