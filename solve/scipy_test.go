package solve

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/model/gas"
)

// python is Debian's own interpreter, which sees Debian's SciPy.
const python = "/usr/bin/python3"

// The sealed part against SciPy's DOP853 at rtol 1e-10 on the same physics,
// written another way (testdata/scipy/sealed.py): within 1e-6 of the pressure
// everywhere, at the default tolerance. The table of burned gas adds an error
// of its own, within 1e-6 too.
func TestAgainstSciPy(t *testing.T) {
	if err := exec.Command(python, "-c", "import scipy").Run(); err != nil {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here")
		t.Skip("needs " + python + " with scipy (Debian python3-scipy)")
	}
	for _, c := range []struct {
		engine           string
		rpm, kpa, lambda float64
		spark            float64 // [deg]
	}{
		{"pump-set", 2200, 80, 1, 24},
		{"small-196", 3400, 45, 1.08, 38},
		{"research-high-ratio", 1500, 95, 0.9, 8},
	} {
		t.Run(c.engine, func(t *testing.T) {
			e, err := model.Load(c.engine)
			require.NoError(t, err)
			op := e.Point
			op.Speed, op.MAP, op.Lambda, op.Spark = c.rpm*2*math.Pi/60, c.kpa*1e3, c.lambda, c.spark*math.Pi/180
			s, err := New(e, &Settings{Exact: true})
			require.NoError(t, err)
			ch, lit, err := s.settle(&op)
			require.NoError(t, err)
			require.True(t, lit)
			got := sealedOnly(t, s, &op, ch)
			fuel, err := gas.FuelByName(e.Fuel)
			require.NoError(t, err)
			shares := map[string]float64{}
			for _, x := range fuel.MakeUp {
				shares[x.Species] = x.X
			}
			stage := s.closed.Burn[0].Stage
			g, w := e.Geometry, e.Wall
			in := map[string]any{
				"geometry": map[string]float64{"bore": g.Bore, "stroke": g.Stroke, "rod": g.Rod, "offset": g.Offset,
					"ratio": g.Ratio, "head": g.HeadArea, "piston": g.PistonArea},
				"wall": map[string]any{"law": w.Law, "factor": w.Factor, "head": w.Head, "piston": w.Piston, "liner": w.Liner},
				"fuel": shares, "lambda": op.Lambda, "speed": op.Speed, "mass": ch.mass, "residual": ch.residual,
				"efficiency": e.Burn.Efficiency, "start": stage.Start, "span": stage.Span, "a": stage.A, "m": stage.M,
				"p": ch.p, "t": ch.t, "from": e.Timing.IntakeClosing, "to": e.Timing.ExhaustOpening,
				"freeze": gas.DefaultFreezeK, "width": gas.FreezeWidthK, "scale": ch.mass * 3e6,
				"theta": got.Theta[got.Begin:got.End],
			}
			text, err := json.Marshal(in)
			require.NoError(t, err)
			var talk bytes.Buffer
			cmd := exec.Command(python, "../testdata/scipy/sealed.py")
			cmd.Stdin, cmd.Stderr = bytes.NewReader(text), &talk
			answer, err := cmd.Output()
			require.NoError(t, err, talk.String())
			var want struct{ P []float64 }
			require.NoError(t, json.Unmarshal(answer, &want))
			require.Len(t, want.P, got.End-got.Begin)

			table, err := New(e, nil)
			require.NoError(t, err)
			require.NoError(t, table.gases(op.Lambda))
			table.closed.Burn, table.integrator = s.closed.Burn, table.coarse
			for name, got := range map[string]*Cycle{"solved equilibrium": got, "table": sealedOnly(t, table, &op, ch)} {
				worst := 0.
				for i, p := range want.P {
					worst = math.Max(worst, math.Abs(got.Pressure[got.Begin+i]/p-1))
				}
				t.Logf("%s: %d samples, worst relative difference %.1e", name, len(want.P), worst)
				require.Less(t, worst, 1e-6, name)
			}
		})
	}
}

// sealedOnly samples the sealed part that starts from ch with the burn at hand.
func sealedOnly(t testing.TB, s *Solver, op *model.Operating, ch charge) *Cycle {
	t.Helper()
	c := &Cycle{}
	s.sampler.begin(c, s)
	require.NoError(t, s.seal(op, &ch, true))
	s.sampler.cycle = nil
	return c
}
