package chart

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"

	"phasebench/scenarios/control"
	"phasebench/scenarios/loop"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/record"
	"phasebench/scenarios/stream"
)

// sampleRun makes a run by hand: a hand at the distributor from a third on, 10 deg
// early, which the loop takes back; every ninth cycle is not read; the guard limits
// one cycle in the second third and falls back in the last.
func sampleRun(n int) *loop.Run {
	r := &loop.Run{Seed: 7, Scenario: &loop.Scenario{Law: loop.Law{Name: "integral"}, Sensing: loop.Sensing{Signal: reader.Ion, Reader: "maximum"}}}
	nan := math.NaN()
	for i := range n {
		s := loop.Step{Cycle: i, Time: 0.08 * float64(i+1), Target: 15 * deg, Base: 20 * deg, State: control.Follow, TorqueMBT: 20,
			Fired: control.Order{Leading: 22 * deg, Trailing: nan}, Single: reader.Reading{Angle: (15 + float64(i%5) - 2) * deg},
			Knock: 1, Safe: control.Range{From: 10 * deg, To: 30 * deg},
			Truth: stream.Truth{MBT: 24 * deg, LPP: 16 * deg, Peak: 30e5, Torque: 19, KnockIntensity: 0.1e5, Lit: true}}
		s.Reading, s.Ordered = s.Single, s.Fired
		if i >= n/3 {
			s.Manual = 10 * deg
		}
		if i >= n/3-1 { // for the cycle after
			s.Ordered.Leading -= 10 * deg
		}
		switch {
		case i%9 == 8:
			s.Single.Angle, s.Reading.Angle = nan, nan
		case i%9 == 4:
			s.Truth.Peak, s.Truth.KnockIntensity, s.Truth.Knocking = 41e5, 1.2e5, true
		}
		switch {
		case i == n/2:
			s.State = control.Limit
		case i >= 2*n/3:
			s.State = control.Fallback
		}
		r.Steps = append(r.Steps, s)
	}
	return r
}

func TestLoop(t *testing.T) {
	c := Loop(sampleRun(90), "a run")
	text := svgTexts(t, c)
	for _, want := range []string{"guard", "F follow", "L limit", "B fallback", "fallback", "L", "spark advance [deg before TDC]", "fired", "ordered", "hand +10.0 deg",
		"base map", "MBT", "reader believed", "pressure peak [deg after TDC]", "read", "not read", "target", "true, mean of 15", "brake torque over that at MBT [%], mean of 15", "cycle",
		"to cycle 89: 7.2 s", "law integral, maximum of ion, seed 7",
		"90 cycles  ·  brake torque 95.0 % of that at MBT  ·  10 not read  ·  31 changed by the guard  ·  10 knocked"} { // 19/20; 90/9; 1 and a third of 90; 90/9
		require.Contains(t, text, want)
	}
	for _, none := range []string{"H hold", "R return", "averaged reading", "peak pressure [bar]"} {
		require.NotContains(t, text, none)
	}
	require.Contains(t, c.About, record.Caution)
	require.Len(t, c.panels, 4)

	near := func(want, got float64) {
		t.Helper()
		require.InDelta(t, want, got, 1e-9, "a few roundings")
	}
	lines := found[trace](c) // base, MBT, ordered, fired, the hand; target, truth; 100 %, torque
	require.Len(t, lines, 9)
	for k, want := range []float64{20, 24, 12, 22} {
		near(want, lines[k].ys[60])
		require.Equal(t, k == 2, math.IsNaN(lines[k].ys[10]), "before the hand")
	}
	require.Equal(t, []float64{30, 30}, lines[4].xs)
	near(16, lines[6].ys[3])
	near(95, lines[8].ys[50])
	require.Len(t, found[rug](c)[0].xs, 10)
	safe := found[ribbon](c)[0]
	near(10, safe.low[5])
	near(30, safe.high[5])
	require.Equal(t, guardRow{{0, 45, 0}, {45, 46, 1}, {46, 60, 0}, {60, 90, 4}}, found[guardRow](c)[0])
}

func TestLoopOutcome(t *testing.T) {
	r := sampleRun(90)
	r.Scenario.Sensing.Average, r.Scenario.Sensing.Over, r.Scenario.Sensing.Knock = "median", 9, true
	text := svgTexts(t, Loop(r, ""))
	for _, want := range []string{"averaged reading", "loudness of knock, over the usual [-]", "brake torque over that at MBT [%], mean of 15"} {
		require.Contains(t, text, want)
	}
	r.Scenario.Ceiling = loop.Ceiling{Peak: 40e5, Knock: 2e5}
	c := Loop(r, "")
	text = svgTexts(t, c)
	for _, want := range []string{"peak pressure [bar]", "ceiling, 10 cycles beyond", "knock intensity [bar]", "ceiling, 0 cycles beyond"} {
		require.Contains(t, text, want)
	}
	require.NotContains(t, text, "brake torque over that at MBT [%], mean of 15", "no room")
	require.Contains(t, c.Subtitle, "95.0 %")
	require.Equal(t, [][2]int{{80, 0}, {0, 10}}, clouded(&c.panels[3]))
	require.Equal(t, [][2]int{{90, 0}, {0, 0}}, clouded(&c.panels[4]))
}

// The mean leaves out what is no number, by hand: of 1 to 20 without 10 the fifteen
// about the 8th are 1 to 15, and their mean is 110/14.
func TestRunning(t *testing.T) {
	var v []float64
	for k := range 20 {
		v = append(v, float64(k+1))
	}
	v[9] = math.NaN()
	got := running(v)
	require.InDelta(t, 110./14, got[7], 1e-12)
	require.InDelta(t, 36./8, got[0], 1e-12, "1 to 8")
	require.True(t, math.IsNaN(running([]float64{math.NaN()})[0]))
	steps := []loop.Step{{Truth: stream.Truth{Torque: 9}, TorqueMBT: 10}, {Truth: stream.Truth{Torque: 10}, TorqueMBT: 20}, {Truth: stream.Truth{Torque: 99}, TorqueMBT: math.NaN()}}
	require.InDelta(t, 19./30, ratio(steps), 1e-12, "sums, not a mean of ratios")
	require.InDelta(t, 19./30, runningRatio(steps)[2], 1e-12)
}

// Thinning loses no spike, keeps order and stays within its bound.
func TestEnvelopeOf(t *testing.T) {
	var xs, ys []float64
	for k := range 10000 {
		xs, ys = append(xs, float64(k)), append(ys, math.Sin(float64(k)/500))
	}
	ys[777], ys[4321] = 50, -50
	for k := 6000; k < 7000; k++ {
		ys[k] = math.NaN()
	}
	x, y := envelopeOf(xs, ys, 400)
	require.LessOrEqual(t, len(x), 400)
	require.Contains(t, y, 50.)
	require.Contains(t, y, -50.)
	gap := false
	for k := range x {
		require.True(t, k == 0 || x[k] > x[k-1])
		gap = gap || math.IsNaN(y[k])
		if finite(y[k]) {
			require.Equal(t, ys[int(x[k])], y[k])
		}
	}
	require.True(t, gap)
	x, y = envelopeOf(xs[:300], ys[:300], 400)
	require.Equal(t, xs[:300], x)
	require.Equal(t, ys[:300], y)
}

// A run of 100,000 cycles has a few thousand marks, and the guard's row tells the
// strongest of what it puts together.
func TestLoopLong(t *testing.T) {
	r := sampleRun(100_000)
	r.Scenario.Ceiling.Peak = 40e5
	c := Loop(r, "")
	marks := 0
	for _, l := range found[trace](c) {
		marks += len(l.xs)
	}
	for _, l := range found[cloud](c) {
		marks += len(l.xs)
	}
	marks += len(found[ribbon](c)[0].xs) + len(found[rug](c)[0].xs)
	row := found[guardRow](c)[0]
	require.Less(t, marks+len(row), 10_000)
	require.Contains(t, c.note, "guard: the strongest of each 112 cycles") // 100,000 over 900, up
	require.Len(t, row, 4)
	require.Equal(t, 1, row[1].state, "one cycle of 112")
	require.InDelta(t, 112, row[1].to-row[1].from, 0)
	require.Less(t, len(write1(t, c, SVG, nil)), 500_000)
}

// Every state looks unlike every other without its colour: by letter and by hatching
// or word.
func TestGuardLooks(t *testing.T) {
	letters := map[string]bool{}
	require.Len(t, guardLooks, len(loop.States()))
	for _, s := range loop.States() {
		look, ok := guardLooks[s]
		require.True(t, ok, s)
		require.False(t, letters[look.letter], s)
		letters[look.letter] = true
	}
	c := new(recorder.Canvas)
	p := &pane{draw.Canvas{Canvas: c, Rectangle: vg.Rectangle{Max: vg.Point{X: 100, Y: 10}}}, axis{max: 100}, axis{max: 1}}
	drawn := map[control.State]string{}
	for _, s := range loop.States() {
		c.Actions = nil
		guardBox(p, s, p.Rectangle)
		for _, a := range c.Actions {
			if call := a.Call(); strings.HasPrefix(call, "Stroke") {
				drawn[s] += call
			}
		}
	}
	require.NotEqual(t, drawn[control.Limit], drawn[control.Hold])
	require.NotEqual(t, drawn[control.Limit], drawn[control.Return])
	require.NotEqual(t, drawn[control.Hold], drawn[control.Return])
	require.NotEqual(t, drawn[control.Follow], drawn[control.Limit])
}

// Nothing breaks a picture.
func TestLoopExtremes(t *testing.T) {
	spoilt := func(v float64) *loop.Run {
		r := sampleRun(30)
		r.Scenario.Ceiling = loop.Ceiling{Peak: v, Knock: v}
		for i := range r.Steps {
			s := &r.Steps[i]
			*s = loop.Step{Cycle: s.Cycle, Time: v, Target: v, Manual: v, Base: v, Fired: control.Order{Leading: v, Trailing: v}, Ordered: control.Order{Leading: v}, Knock: v,
				Single: reader.Reading{Angle: v}, Reading: reader.Reading{Angle: v}, Safe: control.Range{From: v, To: v}, State: "unheard of",
				Truth: stream.Truth{MBT: v, LPP: v, Peak: v, Torque: v, KnockIntensity: v}, TorqueMBT: v}
		}
		return r
	}
	bare := sampleRun(20)
	bare.Scenario = nil
	for name, r := range map[string]*loop.Run{"nil": nil, "empty": {}, "one": sampleRun(1), "two": sampleRun(2), "no scenario": bare,
		"no number": spoilt(math.NaN()), "infinite": spoilt(math.Inf(1)), "huge": spoilt(1e300)} {
		c := Loop(r, name)
		b := string(write1(t, c, SVG, nil))
		require.NotContains(t, b, "NaN", name)
		require.NotContains(t, b, "Inf", name)
		require.NotEmpty(t, write1(t, c, PNG, nil), name)
	}
	require.Contains(t, svgTexts(t, Loop(nil, "")), nothing)
	again := fmt.Sprintf("%x", write1(t, Loop(sampleRun(40), ""), SVG, nil))
	require.Equal(t, again, fmt.Sprintf("%x", write1(t, Loop(sampleRun(40), ""), SVG, nil)), "the same bytes")
}
