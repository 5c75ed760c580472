package chart

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"

	"phasebench/scenarios/record"
	"phasebench/scenarios/trust"
)

// sampleTrust makes a map by hand, of one reader: sparks 0, 10, ... 40 deg, MBT at
// 22 deg, a flip at 35 deg and one at 4 deg, safe from 7 to 32 deg.
func sampleTrust(speeds, loads int) *trust.Map {
	m := &trust.Map{Plan: &trust.Plan{Cycles: 100, Target: 15 * deg}, Nodes: [][]trust.Node{nil}}
	for i := range speeds {
		for j := range loads {
			n := trust.Node{Reader: "maximum", Speed: float64(1000+500*i) * rpm, MAP: float64(40+20*j) * 1e3, MBT: 22 * deg, Needed: 47,
				Advanced: trust.Flip{Spark: 35 * deg, How: trust.BySide, Causes: []trust.Cause{{Name: "peak outside the window", Moves: math.Inf(1)}, {Name: "knock ringing", Moves: 3 * deg}}},
				Retarded: trust.Flip{Spark: 4 * deg, How: trust.BySlope}, Safe: trust.Range{From: 7 * deg, To: 32 * deg}}
			for k := range 5 {
				spark := float64(10*k) * deg
				n.Cells = append(n.Cells, trust.Cell{Spark: spark, Truth: 37*deg - spark, Read: 38*deg - spark, SD: 3 * deg,
					Bias: float64(k-1) * deg, Error: 4 * deg, Declined: 0.25, Wrong: 0.11 * float64(k)})
			}
			m.Nodes[0] = append(m.Nodes[0], n)
		}
	}
	return m
}

// found returns the layers of c that are a T.
func found[T layer](c *Chart) (out []T) {
	for _, p := range c.panels {
		for _, l := range p.layers {
			if x, ok := l.(T); ok {
				out = append(out, x)
			}
		}
	}
	return out
}

func svgTexts(t *testing.T, c *Chart) []string { return texts(t, write1(t, c, SVG, nil)) }

func TestTrustQuantities(t *testing.T) {
	c := &trust.Cell{Wrong: 0.1, Bias: -2 * deg, Error: 3 * deg, Declined: 0.4, SD: 5 * deg}
	want := map[string]float64{"wrong": 10, "bias": -2, "error": 3, "declined": 40, "sd": 5}
	require.Len(t, TrustQuantities(), len(want))
	require.Equal(t, TrustWrong, TrustQuantities()[0], "the default")
	for _, q := range TrustQuantities() {
		require.InDelta(t, want[q.String()], q.Value(c), 1e-12, "a few roundings of %s", q)
		back, ok := TrustQuantityByName(q.String())
		require.True(t, ok)
		require.Equal(t, q, back)
	}
	_, ok := TrustQuantityByName("Wrong")
	require.False(t, ok)
}

func TestTrust(t *testing.T) {
	m := sampleTrust(2, 3)
	lost := &m.Nodes[0][0] // believed nowhere, and blank at one spark
	lost.Advanced, lost.Retarded = trust.Flip{Spark: lost.MBT, How: trust.Nowhere}, trust.Flip{Spark: lost.MBT, How: trust.Nowhere}
	lost.Safe = trust.Range{From: math.NaN(), To: math.NaN()}
	lost.Cells[3].Wrong = math.NaN()
	c := Trust(m, 0, TrustWrong, "map")
	text := svgTexts(t, c)
	for _, want := range []string{"readings on the wrong side [%]  ·  0.0 to 44.0  ·  hatched: too few readings", "manifold pressure [kPa] at 1000 rpm", "manifold pressure [kPa] at 1500 rpm",
		"spark advance [deg before TDC]", "40", "60", "80", "pressure, reader maximum, 100 cycles at each spark, target LPP 15.0 deg after TDC", "22"} {
		require.Contains(t, text, want)
	}

	require.Len(t, c.panels, 2)
	require.NotNil(t, c.panels[0].legend)
	all := found[*tiles](c)
	require.Len(t, all, 2)
	near := func(want, got []float64) {
		t.Helper()
		require.InDeltaSlice(t, want, got, 1e-9, "a few roundings")
	}
	near([]float64{-5, 5, 15, 25, 35, 45}, all[0].xs)
	near([]float64{30, 50, 70, 90}, all[0].ys)
	near([]float64{0, 11, 22, 33, 44}, all[1].z[0])
	require.Equal(t, all[0].levels, all[1].levels, "one bar for all panels")

	lines := found[trace](c) // MBT, advanced, retarded of either speed
	require.Len(t, lines, 6)
	for k, want := range []float64{22, 35, 4} {
		require.True(t, math.IsNaN(lines[k].xs[0]), "the cross stands there")
		near([]float64{want, want}, lines[k].xs[1:])
		near([]float64{want, want, want}, lines[3+k].xs)
		near([]float64{40, 60, 80}, lines[3+k].ys)
	}
	crosses := found[dot](c)
	require.Len(t, crosses, 1)
	near([]float64{22, 40}, []float64{crosses[0].x, crosses[0].y})
	frames := found[frame](c)
	require.Len(t, frames, 5, "all but the one that has no safe range")
	near([]float64{7, 32, 50, 70}, []float64{frames[0].x0, frames[0].x1, frames[0].y0, frames[0].y1})

	clean := Trust(sampleTrust(1, 1), 0, TrustBias, "one load")
	require.NotContains(t, clean.Subtitle, "hatched")
	require.Contains(t, svgTexts(t, clean), "40", "its load")
	near([]float64{36, 44}, found[*tiles](clean)[0].ys)
}

// Of many speeds four are drawn, the first and the last among them.
func TestTrustThins(t *testing.T) {
	text := svgTexts(t, Trust(sampleTrust(7, 2), 0, TrustSD, ""))
	for _, want := range []string{"1000", "2000", "3000", "4000"} {
		require.Contains(t, text, "manifold pressure [kPa] at "+want+" rpm")
	}
	require.NotContains(t, text, "manifold pressure [kPa] at 1500 rpm")
	require.Contains(t, strings.Join(text, "\n"), "4 of 7 speeds")
	for n := range 100 {
		for most := 2; most < 30; most++ {
			kept := evenly(n, most)
			require.Len(t, kept, min(n, most))
			for i, k := range kept {
				require.True(t, i == 0 && k == 0 || i > 0 && k > kept[i-1], "%d of %d: %v", most, n, kept)
			}
			require.True(t, n == 0 || kept[len(kept)-1] == n-1)
		}
	}
}

// A tile changes its tint at a level, not before.
func TestTone(t *testing.T) {
	s := &tiles{levels: shares}
	require.Equal(t, tint(0, 5), s.tone(4.99))
	require.Equal(t, tint(1, 5), s.tone(5))
	require.Equal(t, tint(4, 5), s.tone(100))
}

func TestReading(t *testing.T) {
	m := sampleTrust(2, 2)
	c := Reading(m, 0, 3, "reading")
	text := svgTexts(t, c)
	for _, want := range []string{"1500 rpm, 60 kPa  ·  safe from 7 to 32 deg  ·  average 47 cycles for ±1 deg at 95 %", "mean reading", "true peak", "target", "MBT",
		"safe", "flip: peak outside the window", "flip: moves the wrong way", "angle [deg after TDC]"} {
		require.Contains(t, text, want)
	}
	require.Len(t, found[rule](c), 3)
	for k, want := range []float64{22, 35, 4} {
		require.InDelta(t, want, found[rule](c)[k].x, 1e-9)
	}
	b := found[band](c)
	require.Len(t, b, 1)
	require.InDelta(t, 7, b[0].from, 1e-9)
	require.InDelta(t, 32, b[0].to, 1e-9)
	r := found[ribbon](c)[0]
	require.InDeltaSlice(t, []float64{35, 25, 15, 5, -5}, r.low, 1e-9, "38 - spark - 3")
	require.InDeltaSlice(t, []float64{41, 31, 21, 11, 1}, r.high, 1e-9)
	lines := found[trace](c)
	require.InDeltaSlice(t, []float64{15, 15}, lines[0].ys, 1e-9, "target")
	require.InDeltaSlice(t, []float64{37, 27, 17, 7, -3}, lines[1].ys, 1e-9, "truth")
	require.InDeltaSlice(t, []float64{38, 28, 18, 8, -2}, lines[2].ys, 1e-9, "reading")
}

// A ribbon of height 2 over x = 0 to 1 and 3 to 5 covers 2 and 4: by hand.
func TestRibbon(t *testing.T) {
	nan := math.NaN()
	r := ribbon{[]float64{0, 1, 2, 3, 5}, []float64{1, 1, nan, 0, 2}, []float64{3, 3, 9, 2, 4}}
	p := unit()
	scale := p.pt(1, 1).Sub(p.pt(0, 0))
	out := r.outlines(p)
	require.Len(t, out, 2)
	for k, want := range []float64{2, 4} {
		got := area([][]vg.Point{out[k]}) / float64(scale.X*scale.Y)
		require.InDelta(t, want, math.Abs(got), 1e-9)
	}
}

func TestEnvelope(t *testing.T) {
	m := sampleTrust(2, 2)
	nan := math.NaN()
	none := trust.Range{From: nan, To: nan}
	m.Nodes[0][1].MBT, m.Nodes[0][1].Safe, m.Nodes[0][1].Needed = nan, none, nan
	m.Nodes[0][2].Safe = none
	m.Nodes[0][3].Safe, m.Nodes[0][3].Advanced = none, trust.Flip{Spark: 22 * deg, How: trust.Nowhere}
	c := Envelope(m, 0, "envelope")
	text := svgTexts(t, c)
	for _, want := range []string{"1000 rpm, 40 kPa, 47", "1000 rpm, 60 kPa, –", "peak outside the window", "moves the wrong way", "no safe range: no MBT",
		"none: peak outside the window", "no safe range: believed nowhere"} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "knock ringing", "not the first cause")
	require.Contains(t, strings.Join(text, " "), record.Caution, "whole, over lines")
	require.Len(t, found[envelopeRow](c), 4)

	text = svgTexts(t, Envelope(sampleTrust(6, 5), 0, ""))
	require.Contains(t, strings.Join(text, "\n"), "25 of 30 points")
	require.Contains(t, text, "1000 rpm, 40 kPa, 47")
	require.Contains(t, text, "3500 rpm, 120 kPa, 47")
}

// Text is broken between words, none is lost, and no line is too wide.
func TestBroken(t *testing.T) {
	lines := broken(record.Caution, smallSize, 120)
	require.Greater(t, len(lines), 3)
	for _, l := range lines {
		require.LessOrEqual(t, textWidth(l, smallSize), vg.Length(120))
	}
	require.Equal(t, record.Caution, strings.Join(lines, " "))
	require.Equal(t, []string{"unbreakable"}, broken("unbreakable", smallSize, 1))
}

// Nothing breaks a picture: maps that are empty, all NaN or infinite, without
// flips, of one cell, or with nodes that have unlike cells.
func TestTrustExtremes(t *testing.T) {
	spoilt := func(v float64) *trust.Map {
		m := sampleTrust(2, 2)
		for i := range m.Nodes[0] {
			n := &m.Nodes[0][i]
			n.MBT, n.Needed, n.Safe = v, v, trust.Range{From: v, To: v}
			n.Advanced, n.Retarded = trust.Flip{Spark: v, How: trust.BySide}, trust.Flip{Spark: v, How: trust.Nowhere}
			for k := range n.Cells {
				n.Cells[k] = trust.Cell{Spark: n.Cells[k].Spark, Truth: v, Read: v, SD: v, Bias: v, Error: v, Declined: v, Wrong: v}
			}
		}
		return m
	}
	calm := sampleTrust(1, 2)
	for i := range calm.Nodes[0] {
		calm.Nodes[0][i].Advanced, calm.Nodes[0][i].Retarded = trust.Flip{Spark: math.NaN()}, trust.Flip{Spark: math.NaN()}
	}
	single := sampleTrust(1, 1)
	single.Nodes[0][0].Cells = single.Nodes[0][0].Cells[:1]
	unlike := sampleTrust(1, 3)
	unlike.Nodes[0][0].Cells = nil
	unlike.Nodes[0][1].Cells = unlike.Nodes[0][1].Cells[:2]
	lost := sampleTrust(1, 2)
	lost.Nodes[0][1].Speed, lost.Nodes[0][0].MAP = math.NaN(), math.Inf(1)
	for name, m := range map[string]*trust.Map{"nil": nil, "empty": {}, "no nodes": {Nodes: [][]trust.Node{nil}}, "no plan": {Nodes: sampleTrust(1, 1).Nodes},
		"no number": spoilt(math.NaN()), "infinite": spoilt(math.Inf(1)), "huge": spoilt(1e300), "no flips": calm, "one cell": single, "unlike": unlike, "lost": lost} {
		charts := []*Chart{Reading(m, 0, 0, name), Reading(m, 0, 1, name), Reading(m, -1, -1, name), Reading(m, 0, 99, name), Envelope(m, 0, name), Envelope(m, 1, name), Trust(m, 7, TrustWrong, name)}
		for _, q := range TrustQuantities() {
			charts = append(charts, Trust(m, 0, q, name))
		}
		for _, c := range charts {
			b := string(write1(t, c, SVG, nil))
			require.NotContains(t, b, "NaN", "what is left out must not reach the file: %s", name)
			require.NotContains(t, b, "Inf", name)
		}
		for _, c := range []*Chart{charts[0], charts[4], charts[7]} { // one of each kind
			require.NotEmpty(t, write1(t, c, PNG, nil), name)
		}
	}
	require.Contains(t, svgTexts(t, Reading(nil, 0, 0, "")), nothing)
}
