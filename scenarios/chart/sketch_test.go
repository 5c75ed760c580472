package chart

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// The goldens hold no numbers finer than a third of a character row.
func TestSketch(t *testing.T) {
	var sparks, torque []float64
	for _, p := range sampleSweep(24.3, 27, 0, 5, 10, 15, 20, 25, 30, 35, 40, 45).Points {
		sparks, torque = append(sparks, p.Operating.Spark/deg), append(torque, p.Torque)
	}
	c := sample(-10, 50, 8e4, 800)
	theta, p := scaled(c.Theta[480:961], 1/deg), scaled(c.Pressure[480:961], 1/bar)
	for name, s := range map[string]struct {
		xs, ys []float64
		opts   *SketchOptions
	}{
		"torque": {sparks, torque, &SketchOptions{Title: "pump-set, 2200 rpm, 80 kPa", XTitle: "spark advance [deg before TDC]",
			YTitle: "torque [N·m]", Angle: true, Samples: true, Marks: []SketchMark{{24.3, 27, 'M', "MBT 24.3 deg before TDC, 27.0 N·m"}}}},
		"pressure": {theta, p, &SketchOptions{XTitle: "angle [deg after TDC]", YTitle: "pressure [bar]", Angle: true}},
		"gap":      {[]float64{0, 1, 2, 3, 4}, []float64{1, 2, math.NaN(), 4, 5}, &SketchOptions{Width: 30, Height: 6, Samples: true}},
		"nothing":  {[]float64{3}, []float64{math.NaN()}, nil},
		"one":      {[]float64{3}, []float64{-2}, &SketchOptions{Samples: true, Height: 5}},
	} {
		var b bytes.Buffer
		require.NoError(t, Sketch(&b, s.xs, s.ys, s.opts))
		for _, r := range b.String() {
			require.True(t, r < 127, "%s: %q is not ASCII", name, r)
		}
		file := filepath.Join("testdata", name+".txt")
		if *update {
			require.NoError(t, os.MkdirAll("testdata", 0o755))
			require.NoError(t, os.WriteFile(file, b.Bytes(), 0o644))
		}
		want, err := os.ReadFile(file)
		require.NoError(t, err)
		require.Equal(t, string(want), b.String(), name)
	}
}

func TestSketchExtremes(t *testing.T) {
	inf := math.Inf(1)
	for _, v := range [][2][]float64{
		{nil, nil}, {{1, 2}, {5, 5}}, {{1, 1}, {2, 3}}, {{inf, -inf}, {1, 2}}, {{0, 1e300}, {-1e300, 1e300}}, {{1e-300, 2e-300}, {1e-300, 3e-300}},
	} {
		for _, size := range [][2]int{{0, 0}, {1, 1}, {3, 40}} {
			var b bytes.Buffer
			require.NoError(t, Sketch(&b, v[0], v[1], &SketchOptions{Width: size[0], Height: size[1], Samples: true,
				Marks: []SketchMark{{math.NaN(), 1, 'M', "none"}, {1, 1, 'P', ""}}}))
		}
	}
}
