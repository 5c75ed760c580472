package chart

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/sweep"
)

func TestGas(t *testing.T) {
	text := texts(t, write1(t, Gas(sample(-10, 50, 8e4, 800), "gas"), SVG, nil))
	for _, want := range []string{"temperature [K]", "flow in through the intake, out through the exhaust [mg/deg]",
		"burned gas in the chamber [% by mass]", "angle [deg after TDC]", "−360", "−270", "270", "360",
		"compression", "expansion", "unburned zone", "burned zone", "mean", "spark", "intake closes", "exhaust opens",
		"back into the intake", "residual 6.0 % at intake closing",
		"residual 6.0 %  ·  volumetric efficiency 84.0 %  ·  air 7.00 g/s  ·  PMEP −0.32 bar  ·  burned zone up to 2200 K"} {
		require.Contains(t, text, want)
	}
	count := func(what string) (n int) {
		for _, s := range text {
			if s == what {
				n++
			}
		}
		return n
	}
	require.Equal(t, 2, count("intake"), "the stroke and the flow")
	require.Equal(t, 2, count("exhaust"))

	text = texts(t, write1(t, Gas(sample(-10, 50, 8e4, 0), "unlit"), SVG, nil))
	require.Contains(t, text, "unburned charge")
	require.NotContains(t, text, "burned zone")
	require.True(t, strings.HasPrefix(text[1], "misfire: "), text[1])
}

// Greatest volumes at -180 and 180 deg, samples every 0.5 deg.
func TestStrokes(t *testing.T) {
	got := strokes(sample(-10, 50, 8e4, 800))
	require.Len(t, got, 4)
	for i, want := range []float64{-360, -180, 0, 180} {
		require.InDelta(t, want, got[i].from, 1e-9)
		require.InDelta(t, want+180, got[i].to, 1e-9)
	}
}

func TestOpen(t *testing.T) {
	nan := math.NaN()
	got := open([]float64{0, 0, 0, 1, 0, 0, -1})
	want := []float64{nan, nan, 0, 1, 0, 0, -1}
	for i := range want {
		require.Equal(t, math.IsNaN(want[i]), math.IsNaN(got[i]), i)
	}
	require.Empty(t, open(nil))
}

// 4 + 0.001·(spark − 30)² g/s is 1 % more at 30 ± √40 = 30 ± 6.3 deg, 2.5 % at
// 30 ± 10; the curve through samples every 2 deg comes within 0.15 deg of that.
func TestAirflow(t *testing.T) {
	sparks := []float64{-10, -5}
	for s := 0.0; s <= 60; s += 2 {
		sparks = append(sparks, s)
	}
	all, least := sampleHeld(30, sparks...)
	s := sorted(&sweep.Result{Points: all, MBT: least})
	from, to := s.band(s.smooth(func(p *sweep.Point) float64 { return p.Airflow }), func(y float64) bool { return y <= 1.01*least.Airflow })
	require.InDelta(t, 30-6.325, from, 0.15)
	require.InDelta(t, 30+6.325, to, 0.15)

	text := texts(t, write1(t, Airflow(all, least, "held"), SVG, nil))
	for _, want := range []string{"airflow [g/s]", "manifold pressure [kPa]", "LPP [deg after TDC]", "spark advance [deg before TDC]",
		"least air 4.000 g/s, spark 30.0 deg before TDC", "44.0 kPa", "LPP 14.0 deg", "torque not held",
		"2200 rpm, lambda 1.00, brake torque 10.0 N·m held",
		"least air 4.000 g/s  ·  manifold 44.0 kPa  ·  10 deg later +2.5 %  ·  10 deg earlier +2.5 %"} {
		require.Contains(t, text, want)
	}
}
