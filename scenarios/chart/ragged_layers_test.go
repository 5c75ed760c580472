package chart

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"
)

// Points of a straight line go, corners stay, and no point that went is farther
// from what is left than the tolerance.
func TestStraight(t *testing.T) {
	var line, wave []vg.Point
	for k := range 1001 {
		x := vg.Length(k) / 10
		line = append(line, vg.Point{X: x, Y: 2*x + 1})
		wave = append(wave, vg.Point{X: x, Y: vg.Length(20 * math.Sin(float64(x)/10))})
	}
	require.Equal(t, []vg.Point{line[0], line[1000]}, straight(line, 1e-6))
	corner := append(append([]vg.Point{}, line...), vg.Point{X: 101, Y: 0})
	require.Equal(t, []vg.Point{line[0], line[1000], corner[1001]}, straight(corner, 1e-6))

	const tol = 0.1
	got := straight(wave, tol)
	require.Equal(t, wave[0], got[0])
	require.Equal(t, wave[1000], got[len(got)-1])
	// An arc of curvature y″ ≤ 0.2 per unit strays h²·y″/8 from a chord of length h:
	// chords of 2 and more keep within 0.1, so 50 or so do for 100.
	require.Less(t, len(got), 60)
	require.Greater(t, len(got), 10)
	for _, q := range wave {
		least := vg.Length(math.Inf(1))
		for i := 1; i < len(got); i++ {
			least = min(least, distance(q, got[i-1], got[i]))
		}
		require.LessOrEqual(t, float64(least), tol+1e-12)
	}
	require.Equal(t, vg.Length(5), distance(vg.Point{X: 3, Y: 4}, vg.Point{}, vg.Point{}), "a segment without length")
	require.Equal(t, vg.Length(5), distance(vg.Point{X: -3, Y: 4}, vg.Point{}, vg.Point{X: 9}), "past its end")
}

// unit is a pane of 100 by 100 for x and y from 0 to 100.
func unit() *pane {
	rect := vg.Rectangle{Max: vg.Point{X: 100, Y: 100}}
	return &pane{draw.Canvas{Canvas: new(recorder.Canvas), Rectangle: rect}, axis{max: 100}, axis{max: 100}}
}

// Only the window is drawn, and a gap parts a line.
func TestBundle(t *testing.T) {
	b := bundle{xs: []float64{-50, 0, 50, 100, 150}, ys: [][]float64{{10, 10, 10, 10, 10}, {20, 20, math.NaN(), 20, 20}}}
	got := b.lines(unit())
	require.Equal(t, [][]vg.Point{
		{{X: 0, Y: 10}, {X: 100, Y: 10}},
		{{X: 0, Y: 20}, {X: 0, Y: 20}},
		{{X: 100, Y: 20}, {X: 100, Y: 20}},
	}, got)
}

// Points on one spot are drawn once, those outside not at all.
func TestCloud(t *testing.T) {
	c := cloud{xs: []float64{10, 10.01, 50, 101, math.NaN(), 20}, ys: []float64{10, 10.01, 50, 50, 1, -1}}
	require.Equal(t, []vg.Point{{X: 10, Y: 10}, {X: 50, Y: 50}}, c.points(unit()))
	for range 20000 {
		c.xs, c.ys = append(c.xs, 30+float64(len(c.xs)%97)/10), append(c.ys, 30+float64(len(c.xs)%89)/10)
	}
	require.Less(t, len(c.points(unit())), 26*26, "9.7 by 8.9 points in grains of 0.4")
}

func TestBars(t *testing.T) {
	b := bars{from: 10, width: 20, base: []float64{0, 5, 5}, top: []float64{30, 5, 40}}
	got := b.boxes(unit())
	require.Len(t, got, 2, "one has no height")
	require.InDelta(t, 20-0.7, float64(got[0].Size().X), 1e-9)
	require.InDelta(t, 30, float64(got[0].Size().Y), 1e-9)
	require.InDelta(t, 50.35, float64(got[1].Min.X), 1e-9)
	require.InDelta(t, 35, float64(got[1].Size().Y), 1e-9)
}
