package chart

import (
	"image/color"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"

	"phasebench/scenarios/sweep"
)

func TestMap(t *testing.T) {
	g := sampleGrid(3, 3, func(x, y float64) float64 { return 10*x - 20*y })
	g.At(2, 0).Err = "no spark lights the charge"
	text := texts(t, write1(t, Map(g, sweep.SparkMBT, "map"), SVG, nil))
	for _, want := range []string{"speed [rpm]", "manifold pressure [kPa]", "deg before TDC", "MBT spark advance [deg before TDC]  ·  −10.0 to 27.0",
		"4.0", "−3.0", "−10.0", "19.0", "12.0", "5.0", "27.0", "20.0", "×", "×: did not run",
		"lambda 1.00, intake 300 K, exhaust 102.0 kPa; straight between the nodes"} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "34.0", "the node that did not run")
	for _, level := range []string{"0", "10"} { // once in the legend, once on the line
		n := 0
		for _, s := range text {
			if s == level {
				n++
			}
		}
		require.Equal(t, 2, n, level)
	}

	text = texts(t, write1(t, Map(g, sweep.KnockLimited, "knock"), SVG, nil))
	for _, want := range []string{"free", "always", "–", "20.0", "×: did not run   –: none   free: no spark knocks   always: every spark knocks"} {
		require.Contains(t, text, want)
	}
	text = texts(t, write1(t, Map(g, sweep.CostOfLPP, "cost"), SVG, nil))
	require.Contains(t, text, "torque lost by holding LPP at 15.0 deg after TDC [% of MBT]  ·  1.0 to 1.0")
}

// onPane returns the mesh of f on a pane of 1 by 1 for each unit.
func onPane(f *field) *mesh {
	x, y := f.xs[len(f.xs)-1], f.ys[len(f.ys)-1]
	rect := vg.Rectangle{Max: vg.Point{X: vg.Length(x), Y: vg.Length(y)}}
	return f.mesh(&pane{draw.Canvas{Canvas: new(recorder.Canvas), Rectangle: rect}, axis{max: x}, axis{max: y}})
}

func area(outlines [][]vg.Point) (sum float64) {
	for _, o := range outlines {
		for i := range o {
			a, b := o[i], o[(i+1)%len(o)]
			sum += float64(a.X*b.Y-b.X*a.Y) / 2
		}
	}
	return sum
}

// What is above a level of z = x + 2y on 3 by 2 cells: areas by hand.
func TestAbove(t *testing.T) {
	f := &field{xs: []float64{0, 1, 2, 3}, ys: []float64{0, 1, 2}}
	for _, x := range f.xs {
		f.z = append(f.z, []float64{x, x + 2, x + 4})
	}
	for _, v := range []struct{ level, area, lines, length float64 }{
		{math.Inf(-1), 6, 0, 0},
		{-1, 6, 0, 0},
		{1, 6 - 0.25, 1, math.Sqrt(1.25)},   // a triangle of 1 by 0.5 cut off
		{2, 6 - 1, 1, math.Sqrt(5)},         // through nodes: 2 by 1
		{3.5, 3, 1, 1.5 * math.Sqrt(5)},     // half
		{6, 0.25, 1, math.Sqrt(1.25)},       // the same at the other corner
		{6.9, 0.0025, 1, math.Sqrt(0.0125)}, // a small one
		{7.1, 0, 0, 0},                      // nothing
	} {
		outlines, lines := onPane(f).above(v.level)
		require.InDelta(t, v.area, area(outlines), 1e-9, "level %g", v.level)
		require.Len(t, lines, int(v.lines), "level %g", v.level)
		length := 0.0
		for _, l := range lines {
			for i := 1; i < len(l); i++ {
				d := l[i].Sub(l[i-1])
				length += math.Hypot(float64(d.X), float64(d.Y))
				require.InDelta(t, v.level, float64(l[i].X+2*l[i].Y), 1e-9)
			}
		}
		require.InDelta(t, v.length, length, 1e-9, "level %g", v.level)
	}

	f.z[1][1] = math.NaN() // four cells go
	outlines, _ := onPane(f).above(math.Inf(-1))
	require.InDelta(t, 2, area(outlines), 1e-9)
}

// A hill has closed lines, one for each level.
func TestClosedLine(t *testing.T) {
	f := &field{xs: []float64{0, 1, 2}, ys: []float64{0, 1, 2}, z: [][]float64{{0, 0, 0}, {0, 1, 0}, {0, 0, 0}}}
	_, lines := onPane(f).above(0.5)
	require.Len(t, lines, 1)
	require.Equal(t, lines[0][0], lines[0][len(lines[0])-1])
}

// Neighbouring tints differ, in grey as well, and ink is read on all: contrast
// of at least 4.5 (WCAG 2.1, success criterion 1.4.3).
func TestTint(t *testing.T) {
	light := func(c color.Color) float64 {
		r, g, b, _ := c.RGBA()
		linear := func(v uint32) float64 {
			if x := float64(v) / 0xFFFF; x > 0.04045 {
				return math.Pow((x+0.055)/1.055, 2.4)
			} else {
				return x / 12.92
			}
		}
		return 0.2126*linear(r) + 0.7152*linear(g) + 0.0722*linear(b)
	}
	const most = 9
	last := 1.0
	for k := range most {
		l := light(tint(k, most))
		require.Less(t, l, last-0.02, k)
		require.Greater(t, (l+0.05)/(light(ink)+0.05), 4.5, k)
		last = l
	}
}

func TestSpaced(t *testing.T) {
	place := func(v float64) vg.Length { return vg.Length(v) }
	require.Equal(t, []int{0, 2, 4}, spaced([]float64{0, 1, 2, 3, 10}, place, 2))
	require.Equal(t, []int{1}, spaced([]float64{math.NaN(), 1}, place, 2))
}
