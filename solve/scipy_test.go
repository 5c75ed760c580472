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
	"phasebench/model/accuracy"
	"phasebench/model/gas"
	"phasebench/model/wall"
	"phasebench/solve/ode"
	"phasebench/wiebe"
)

// python is Debian's own interpreter, which sees Debian's SciPy.
const python = "/usr/bin/python3"

// The first law of a sealed zone against SciPy's DOP853 at rtol 1e-10 on the same physics,
// written another way (testdata/scipy/sealed.py), at the default tolerance. The table of burned
// gas adds an error of its own, for which as much is allowed.
func TestAgainstSciPy(t *testing.T) {
	needSciPy(t)
	row := accuracy.Find(t, "one-zone")
	for _, c := range []struct {
		engine           string
		rpm, kpa, lambda float64
		t, residual      float64 // at intake closing
		start, dev, fast float64 // of the burn [deg]
	}{
		{"pump-set", 2200, 80, 1, 370, 0.05, -24, 18, 26},
		{"small-196", 3400, 45, 1.08, 390, 0.11, -38, 26, 36},
		{"research-high-ratio", 1500, 95, 0.9, 340, 0.03, -8, 11, 17},
	} {
		t.Run(c.engine, func(t *testing.T) {
			e, err := model.Load(c.engine)
			require.NoError(t, err)
			ch, err := e.Chamber()
			require.NoError(t, err)
			fuel, err := gas.FuelByName(e.Fuel)
			require.NoError(t, err)
			law, err := wall.ByName(e.Wall.Law)
			require.NoError(t, err)
			stage, err := wiebe.FromAngles(c.start*deg, c.dev*deg, c.fast*deg)
			require.NoError(t, err)
			from, to := e.Sealed()
			fresh, err := gas.NewFresh(fuel, c.lambda, gas.DefaultAir)
			require.NoError(t, err)
			burned, err := gas.NewBurned(fuel, c.lambda, gas.DefaultAir)
			require.NoError(t, err)
			exact, err := gas.NewFreezing(burned, gas.DefaultFreezeK)
			require.NoError(t, err)
			table, err := gas.NewTable(burned, gas.DefaultFreezeK)
			require.NoError(t, err)

			mix := mixture{fresh: fresh, burned: exact}
			var s state
			mix.at(c.t, c.kpa*1e3, c.residual, &s)
			vol, _ := ch.Volume(from)
			mass := vol / s.v
			theta := make([]float64, 521)
			for i := range theta {
				theta[i] = from + (to-from)*float64(i)/float64(len(theta)-1)
			}
			theta[len(theta)-1] = to
			run := func(g gas.Gas) (p []float64) {
				sys := &Closed{Chamber: ch, Speed: c.rpm * math.Pi / 30, Mass: mass, Fresh: fresh, Burned: g,
					Residual: c.residual, Efficiency: e.Burn.Efficiency, Burn: wiebe.Single(stage),
					Wall: law, WallFactor: e.Wall.Factor, HeadTemp: e.Wall.Head, PistonTemp: e.Wall.Piston, LinerTemp: e.Wall.Liner}
				rows := make([][]float64, len(theta))
				for i := range rows {
					rows[i] = make([]float64, nUnknowns)
				}
				sampler, err := ode.NewSampler(theta, rows)
				require.NoError(t, err)
				y := []float64{c.kpa * 1e3, c.t, 0, 0}
				sys.Begin(from, y[Pressure], y[Temp])
				rtol := defaultRelTol
				_, err = ode.New(nUnknowns, &ode.Settings{RelTol: rtol, AbsTol: []float64{rtol * 1e5, rtol * 300, rtol * 100, rtol * 100}}).
					Integrate(sys, from, to, y, &ode.Run{Breaks: sys.Burn.Breaks(nil), OnStep: sampler.Observe})
				require.NoError(t, err)
				for i := range rows {
					p = append(p, rows[i][Pressure])
				}
				return p
			}

			in := caseFor(e, fuel, c.lambda, c.rpm*math.Pi/30, stage)
			for k, v := range map[string]any{"mass": mass, "residual": c.residual, "p": c.kpa * 1e3, "t": c.t,
				"from": from, "to": to, "scale": mass * 3e6, "theta": theta} {
				in[k] = v
			}
			want := scipy(t, in)
			require.Len(t, want, len(theta))
			for name, p := range map[string][]float64{"solved equilibrium": run(exact), "table": run(table)} {
				worst := 0.
				for i := range p {
					worst = math.Max(worst, math.Abs(p[i]/want[i]-1))
				}
				t.Logf("%s: worst relative difference %.1e", name, worst)
				row.Hold(t, worst, "%s, %s", c.engine, name)
			}
		})
	}
}

// The two zones against SciPy's DOP853 at rtol 1e-9 on the same physics, its
// derivatives got by differences of the property functions, from the start of burning to
// exhaust opening.
func TestTwoZonesAgainstSciPy(t *testing.T) {
	needSciPy(t)
	row := accuracy.Find(t, "two-zones")
	for _, name := range []string{"pump-set", "research-high-ratio"} {
		t.Run(name, func(t *testing.T) {
			e, err := model.Load(name)
			require.NoError(t, err)
			e.Burn.Law, e.Crevice = model.BurnFixed, model.Crevice{}
			s, err := New(e, &Settings{Exact: true, Step: deg})
			require.NoError(t, err)
			op := e.Point
			x, ign, err := s.settle(&op)
			require.NoError(t, err)
			require.True(t, ign.lit)
			c := &Cycle{}
			s.sampler.begin(c, s)
			ch := s.charge(&x)
			y := s.begin(&x)
			_, err = s.step.one.Integrate(&s.one, s.from, ign.start, y, nil)
			require.NoError(t, err)
			require.NoError(t, s.split(ign.start, y, wiebeKernel*s.two.share))
			z := append([]float64(nil), s.y2...)
			require.NoError(t, s.sealed(s.begin(&x), ign))
			s.sampler.cycle = nil

			var theta, got []float64
			for i := c.Begin; i < c.End; i++ {
				if c.Theta[i] > ign.start {
					theta, got = append(theta, c.Theta[i]), append(got, c.Pressure[i])
				}
			}
			fuel, err := gas.FuelByName(e.Fuel)
			require.NoError(t, err)
			in := caseFor(e, fuel, op.Lambda, op.Speed, s.two.burn[0].Stage)
			for k, v := range map[string]any{"residual": s.two.residual, "p": ch.p, "t": ch.t, "mass": x[carryM],
				"from": s.from, "to": s.to, "theta": theta, "from1": ign.start,
				"p1": z[twoP], "tu": z[twoTu], "tb": z[twoTb], "mu": z[twoMu], "mb": z[twoMb]} {
				in[k] = v
			}
			want := scipy(t, in)
			require.Len(t, want, len(got))
			worst := 0.
			for i := range got {
				worst = math.Max(worst, math.Abs(got[i]/want[i]-1))
			}
			t.Logf("worst relative difference %.1e", worst)
			row.Hold(t, worst, "%s", name)
		})
	}
}

// needSciPy skips without SciPy, or fails where the peers are required.
func needSciPy(t *testing.T) {
	t.Helper()
	if err := exec.Command(python, "-c", "import scipy").Run(); err != nil {
		require.Empty(t, os.Getenv("PHASEBENCH_REQUIRE_PEERS"), "the peers are required here")
		t.Skip("needs " + python + " with scipy (Debian python3-scipy)")
	}
}

// caseFor describes an engine and a burn to sealed.py.
func caseFor(e *model.Engine, fuel gas.Fuel, lambda, speed float64, stage wiebe.Stage) map[string]any {
	shares := map[string]float64{}
	for _, x := range fuel.MakeUp {
		shares[x.Species] = x.X
	}
	g, w := e.Geometry, e.Wall
	return map[string]any{
		"geometry": map[string]float64{"bore": g.Bore, "stroke": g.Stroke, "rod": g.Rod, "offset": g.Offset,
			"ratio": g.Ratio, "head": g.HeadArea, "piston": g.PistonArea},
		"wall": map[string]any{"law": w.Law, "factor": w.Factor, "head": w.Head, "piston": w.Piston, "liner": w.Liner},
		"fuel": shares, "lambda": lambda, "speed": speed, "efficiency": e.Burn.Efficiency,
		"start": stage.Start, "span": stage.Span, "a": stage.A, "m": stage.M,
		"freeze": gas.DefaultFreezeK, "width": gas.FreezeWidthK,
	}
}

// scipy runs sealed.py and returns the pressures.
func scipy(t *testing.T, in map[string]any) []float64 {
	t.Helper()
	text, err := json.Marshal(in)
	require.NoError(t, err)
	var talk bytes.Buffer
	cmd := exec.Command(python, "../testdata/scipy/sealed.py")
	cmd.Stdin, cmd.Stderr = bytes.NewReader(text), &talk
	answer, err := cmd.Output()
	require.NoError(t, err, talk.String())
	var out struct{ P []float64 }
	require.NoError(t, json.Unmarshal(answer, &out))
	return out.P
}
