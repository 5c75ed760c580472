package chart

import (
	"fmt"
	"image/color"
	"math"
	"strings"

	"phasebench/scenarios/sweep"
)

// Map draws q over speed and manifold pressure: tints between labelled contour
// lines, and the value at every node. A node that has none says why, and the
// cells around it are hatched.
func Map(g *sweep.Grid, q sweep.Quantity, title string) *Chart {
	f := &field{xs: scaled(g.Speeds, 1/rpm), ys: scaled(g.MAPs, 1e-3)}
	var notes [len(absences)]bool
	for i := range f.xs {
		f.z, f.absent = append(f.z, make([]float64, len(f.ys))), append(f.absent, make([]string, len(f.ys)))
		for j := range f.ys {
			if v, k := value(g, q, i, j); finite(v) {
				f.z[i][j] = v
			} else {
				f.z[i][j], f.absent[i][j], notes[k] = math.NaN(), absences[k].mark, true
			}
		}
	}
	lo, hi := span(f.z...)
	f.grade(lo, hi)

	ch := &Chart{Title: title, Footer: mapConditions(g), About: q.Title() + " over speed and manifold pressure.",
		Subtitle: mapTitle(g, q) + " [" + q.Unit() + "]"}
	if lo <= hi {
		ch.Subtitle += "  ·  " + num(lo, f.digits) + " to " + num(hi, f.digits)
	}
	var note []string
	for k, a := range absences {
		if notes[k] {
			note = append(note, a.mark+": "+a.meaning)
		}
	}
	ch.note = strings.Join(note, "   ")
	ch.x = nodeAxis("speed [rpm]", f.xs, 9)
	p := panel{weight: 1, y: nodeAxis("manifold pressure [kPa]", f.ys, 8), layers: []layer{f}}
	if f.cells() && lo < hi {
		p.legend = &legend{f, q.Unit()}
	}
	ch.panels = []panel{p}
	return ch
}

// Why a node may have no value.
var absences = [...]struct{ mark, meaning string }{
	{"×", "did not run"},
	{"–", "none"},
	{"free", "no spark knocks"},
	{"always", "every spark knocks"},
}

// value returns q at a node or else an index into absences.
func value(g *sweep.Grid, q sweep.Quantity, i, j int) (v float64, absence int) {
	if k := i*len(g.MAPs) + j; k >= len(g.Nodes) {
		return math.NaN(), 0
	}
	n := g.At(i, j)
	v = q.Value(n)
	switch {
	case n.Err != "":
		return v, 0
	case q == sweep.KnockLimited && n.Knock.Kind == sweep.Free:
		return v, 2
	case q == sweep.KnockLimited && n.Knock.Kind == sweep.Always:
		return v, 3
	}
	return v, 1
}

func mapTitle(g *sweep.Grid, q sweep.Quantity) string {
	switch {
	case q == sweep.CostOfLPP && finite(g.LPP):
		return q.Title() + " at " + num(g.LPP/deg, 1) + " deg after TDC"
	case q == sweep.CostOfCA50 && finite(g.CA50):
		return q.Title() + " at " + num(g.CA50/deg, 1) + " deg after TDC"
	}
	return q.Title()
}

func mapConditions(g *sweep.Grid) string {
	op := &g.Operating
	return fmt.Sprintf("lambda %s, intake %s K, exhaust %s kPa; straight between the nodes",
		num(op.Lambda, 2), num(op.Intake, 0), num(op.Exhaust/1e3, 1))
}

// nodeAxis leaves room at its ends for what is written at the nodes.
func nodeAxis(title string, at []float64, n int) axis {
	lo, hi := span(at)
	if lo == hi {
		lo, hi = 0.8*lo, 1.2*hi
	} else {
		lo, hi = pad(lo, hi, 0.07, false)
	}
	return newAxis(title, linear, lo, hi, n)
}

// grade chooses the levels of contour lines for values from lo to hi.
func (f *field) grade(lo, hi float64) {
	f.digits = 1
	if !(hi-lo > 1e-9*math.Max(math.Abs(lo), math.Abs(hi))) || !finite(hi-lo) {
		return
	}
	apart := step(lo, hi, 7, false)
	if math.Max(math.Abs(lo), math.Abs(hi)) >= 1000 {
		f.digits = 0
	} else if apart < 1 {
		f.digits = min(int(math.Ceil(-math.Log10(apart)-1e-9))+1, 4)
	}
	for _, t := range ticks(lo, hi, apart) {
		if t.at > lo && t.at < hi {
			f.levels = append(f.levels, t)
		}
	}
}

// tint is the colour of band k of n, pale sand to a blue on which ink is
// still read. Equal steps in OKLab look equally large; their lightness alone
// tells them apart. Source of the matrices: B. Ottosson, A perceptual color
// space for image processing, 2020.
func tint(k, n int) color.Color {
	w := 0.5
	if n > 1 {
		w = float64(k) / float64(n-1)
	}
	mix := func(from, to float64) float64 { return from + w*(to-from) }
	lab := [3]float64{mix(0.972, 0.74), mix(0.004, -0.045), mix(0.030, -0.058)}
	cube := func(a, b float64) float64 {
		v := lab[0] + a*lab[1] + b*lab[2]
		return v * v * v
	}
	l, m, s := cube(0.3963377774, 0.2158037573), cube(-0.1055613458, -0.0638541728), cube(-0.0894841775, -1.2914855480)
	code := func(v float64) uint8 {
		v = math.Min(math.Max(v, 0), 1)
		if v <= 0.0031308 {
			v *= 12.92
		} else {
			v = 1.055*math.Pow(v, 1/2.4) - 0.055
		}
		return uint8(math.Round(255 * v))
	}
	return color.NRGBA{
		code(4.0767416621*l - 3.3077115913*m + 0.2309699292*s),
		code(-1.2684380046*l + 2.6097574011*m - 0.3413193965*s),
		code(-0.0041960863*l - 0.7034186147*m + 1.7076147010*s), 0xFF}
}
