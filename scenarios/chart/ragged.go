package chart

import (
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Ragged is what pictures of many cycles are made of. Every list of all cycles
// begins with the cycles overlaid, in the same order. Lists of unequal lengths
// and NaN are no error: what is missing is left out.
type Ragged struct {
	Theta    []float64   // angles of the samples [rad]
	Pressure [][]float64 // of the cycles overlaid [Pa]; a few dozen to a hundred
	Mean     []float64   // mean pressure of all cycles [Pa]
	Spark    float64     // [rad before dead centre]; NaN if it changes

	LPP, Peak, IMEP []float64 // of all cycles [rad], [Pa], [Pa]; NaN where one has none
	Lit             []bool    // of all cycles: no misfire; nil: every one

	IonTheta []float64   // angles of the ion samples [rad]
	Ion      [][]float64 // ion current of the cycles overlaid [A]; nil: none
}

// The part of a cycle worth overlaying [deg].
const (
	raggedFrom = -60
	raggedTo   = 120
)

// haze is blue that many lines may be drawn in below one of ink.
var haze = color.NRGBA{0x8F, 0xB4, 0xCB, 0xFF}

var (
	thinLine    = draw.LineStyle{Color: haze, Width: 0.45}
	boldLine    = draw.LineStyle{Color: ink, Width: 1.8}
	misfireLine = draw.LineStyle{Color: rust, Width: 0.8, Dashes: []vg.Length{3, 1.6}}
	lppLine     = draw.LineStyle{Color: blue, Width: 0.9, Dashes: []vg.Length{6, 1.5, 1.2, 1.5}}
)

// lit tells whether the spark set cycle i on fire, as far as is known.
func (r *Ragged) lit(i int) bool { return i >= len(r.Lit) || r.Lit[i] }

// cycles is how many there are in all.
func (r *Ragged) cycles() int {
	return max(len(r.LPP), len(r.Peak), len(r.IMEP), len(r.Lit), len(r.Pressure))
}

// misfires counts those among the first n cycles.
func (r *Ragged) misfires(n int) (count int) {
	for i := range n {
		if !r.lit(i) {
			count++
		}
	}
	return count
}

// pick returns the finite values of the cycles that are lit, or of the others.
func (r *Ragged) pick(v []float64, lit bool) (out []float64) {
	for i, x := range v {
		if r.lit(i) == lit && finite(x) {
			out = append(out, x)
		}
	}
	return out
}

// split parts the curves of cycles that are lit from the others.
func (r *Ragged) split(curves [][]float64) (lit, unlit [][]float64) {
	for i, c := range curves {
		if r.lit(i) {
			lit = append(lit, c)
		} else {
			unlit = append(unlit, c)
		}
	}
	return lit, unlit
}

// spread is the mean and the sample standard deviation of v, NaN where v has
// too few values.
func spread(v []float64) (mean, sd float64) {
	mean, sd = stat.MeanStdDev(v, nil)
	if len(v) < 2 {
		sd = math.NaN()
	}
	return mean, sd
}

// median of v, NaN of none.
func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Sorted(slices.Values(v))
	return (s[(len(s)-1)/2] + s[len(s)/2]) / 2
}

// summary is the line of numbers under the title. LPP and peak are of the
// cycles that burn, for a misfire has those of compression; IMEP is of all,
// since a misfire is what the shaft feels (common practice, no source).
func (r *Ragged) summary() string {
	parts := []string{counted(r.cycles(), "cycle")}
	if n := len(r.Pressure); n > 0 && n < r.cycles() {
		parts[0] += fmt.Sprintf(", %d drawn", n)
	}
	lpp, lppSD := spread(scaled(r.pick(r.LPP, true), 1/deg))
	parts = append(parts, told("LPP", "deg", lpp, lppSD, 1)...)
	peak, peakSD := spread(scaled(r.pick(r.Peak, true), 1/bar))
	parts = append(parts, told("peak", "bar", peak, peakSD, 1)...)
	return strings.Join(append(append(parts, r.work()...), r.missed()...), "  ·  ")
}

// work tells mean and coefficient of variation of IMEP.
func (r *Ragged) work() []string {
	all := append(r.pick(r.IMEP, true), r.pick(r.IMEP, false)...)
	mean, sd := spread(scaled(all, 1/bar))
	if !finite(mean) {
		return nil
	}
	text := "IMEP " + num(mean, 2) + " bar"
	if cov := 100 * sd / mean; mean > 0 && finite(cov) {
		text += ", COV " + num(cov, 1) + " %"
	}
	return []string{text}
}

// missed tells how many misfires there are, if any.
func (r *Ragged) missed() []string {
	if n := r.misfires(r.cycles()); n > 0 {
		return []string{counted(n, "misfire")}
	}
	return nil
}

// footer tells the spark.
func (r *Ragged) footer() string {
	if !finite(r.Spark) {
		return ""
	}
	return "spark " + sparkText(r.Spark)
}

// told writes a mean and a standard deviation, as far as there are any.
func told(name, unit string, mean, sd float64, digits int) []string {
	if !finite(mean) {
		return nil
	}
	text := name + " " + num(mean, digits) + " " + unit
	if finite(sd) {
		text += ", sd " + num(sd, digits)
	}
	return []string{text}
}

// counted writes n things.
func counted(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}

// overlay draws curves in p, thin, those of misfires apart.
func (r *Ragged) overlay(p *panel, theta []float64, curves [][]float64) (lit, unlit [][]float64) {
	lit, unlit = r.split(curves)
	p.layers = append(p.layers, bundle{theta, lit, thinLine}, bundle{theta, unlit, misfireLine})
	return lit, unlit
}

// high returns anchors on a curve from its greatest value in the window on
// outwards.
func high(theta, curve []float64) (out []anchor) {
	var x, y []float64
	for i := range min(len(theta), len(curve)) {
		if theta[i] >= raggedFrom && theta[i] <= raggedTo {
			x, y = append(x, theta[i]), append(y, curve[i])
		}
	}
	_, most, ok := extremes(x, y)
	if !ok {
		return nil
	}
	for _, d := range []float64{0, -8, 8, 20, 35, 50, -20, -35} {
		if k, ok := nearest(x, most.x+d, len(x)); ok && finite(y[k]) {
			out = append(out, anchor{x[k], y[k]})
		}
	}
	return out
}

// marks rules the spark and the mean LPP in p and names them, or not.
func (r *Ragged) marks(p *panel, spark, lpp bool) {
	name := func(x float64, s draw.LineStyle, text string, named bool) {
		if !(x > raggedFrom && x < raggedTo) {
			return
		}
		p.layers = append(p.layers, rule{x, s})
		if named {
			p.labels = append(p.labels, label{text, s.Color, upright(p, x)})
		}
	}
	name(-r.Spark/deg, sparkLine, "spark", spark)
	at, _ := spread(scaled(r.pick(r.LPP, true), 1/deg))
	name(at, lppLine, "mean LPP "+num(at, 1)+" deg", lpp)
}
