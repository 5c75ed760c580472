package chart

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"phasebench/scenarios/indicate"
)

// sampleTrace is the cycle of sample as a recorded one.
func sampleTrace(start float64) *indicate.Trace {
	c := sample(start, 40, 8e4, 1200)
	t := &indicate.Trace{Theta: c.Theta, Pressure: c.Pressure, Volume: c.Volume, Burned: make([]float64, len(c.Theta))}
	for i := range t.Burned {
		t.Burned[i] = math.NaN()
		if th := t.Theta[i] / deg; th > -100 && th < 120 {
			t.Burned[i] = 0.95 * c.Burned[i]
		}
	}
	return t
}

// drawn writes ch as SVG and returns it.
func drawnSVG(t *testing.T, ch *Chart) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, ch.Write(&b, SVG, nil))
	return b.String()
}

func TestRecordedPV(t *testing.T) {
	svg := drawnSVG(t, RecordedPV(sampleTrace(-15), 1.3, 1.25, "pump set"))
	for _, text := range []string{"pump set", "compression, exponent 1.3", "expansion, exponent 1.25", "mean of the cycles", "volume"} {
		assert.Contains(t, svg, text)
	}
	// Without an exponent there is no line of it.
	svg = drawnSVG(t, RecordedPV(sampleTrace(-15), math.NaN(), 1.25, "pump set"))
	assert.NotContains(t, svg, "compression, exponent")
	assert.Contains(t, svg, "expansion, exponent")
}

func TestReleased(t *testing.T) {
	s := &indicate.Summary{}
	s.CA10.Value, s.CA50.Value, s.CA90.Value = 2*deg, 15*deg, 30*deg
	ch := Released(sampleTrace(-15), []*indicate.Trace{sampleTrace(-20), sampleTrace(-10)}, s, "pump set")
	require.Len(t, ch.panels, 2)
	dots := func() (n int) {
		for _, l := range ch.panels[0].layers {
			if _, ok := l.(dot); ok {
				n++
			}
		}
		return n
	}
	assert.Equal(t, 3, dots())
	assert.Contains(t, drawnSVG(t, ch), "CA10, CA50, CA90: 2.0, 15.0, 30.0 deg")
	// An angle that there is not has no mark.
	s.CA90.Value = math.NaN()
	ch = Released(sampleTrace(-15), nil, s, "pump set")
	assert.Equal(t, 2, dots())
	drawnSVG(t, ch)
}

// The rate is the slope of the share: its sum over the window is what has burned there.
func TestReleasedRate(t *testing.T) {
	ch := Released(sampleTrace(-15), nil, &indicate.Summary{}, "pump set")
	line := ch.panels[1].layers[0].(trace)
	sum := 0.
	for i, x := range line.xs {
		if x > -40 && x < 85 {
			sum += line.ys[i] * (line.xs[1] - line.xs[0])
		}
	}
	assert.InDelta(t, 95, sum, 0.1, "0.95 of 1 - exp(-5·(100/40)³), to the trapezium rule")
}

func TestRun(t *testing.T) {
	ch := Run([]float64{0, 1, 3, 4}, []float64{8e5, 8.2e5, 7.9e5, 8.1e5}, []float64{15 * deg, 16 * deg, 14 * deg, 15 * deg}, []int{2, 6}, "pump set")
	require.Len(t, ch.panels, 2)
	for _, p := range ch.panels {
		rules := 0
		for _, l := range p.layers {
			if _, ok := l.(rule); ok {
				rules++
			}
		}
		assert.Equal(t, 2, rules)
	}
	assert.Less(t, ch.x.min, 0., "the first point is whole")
	assert.Greater(t, ch.x.max, 6., "the last broken one is seen")
	svg := drawnSVG(t, ch)
	assert.Contains(t, svg, "2 broken cycles, dashed")
	// One cycle alone can be drawn; none broken needs no word.
	svg = drawnSVG(t, Run([]float64{0}, []float64{8e5}, []float64{15 * deg}, nil, "pump set"))
	assert.False(t, strings.Contains(svg, "broken"))
}
