package traces

import (
	"context"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/loop"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
)

// replayed runs 46 cycles of a pump set with a hand at its distributor from cycle 20
// on, a fault that builds up and change as told.
func replayed(t *testing.T, change func(*model.Engine, *loop.Scenario)) (*loop.Bench, *loop.Run) {
	t.Helper()
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	e.Point.Speed, e.Point.MAP, e.Point.Spark = 1500*rpm, 60e3, 22*deg
	s := &loop.Scenario{Engine: e, Cycles: 46, Actuator: loop.UsualActuator(), Law: loop.Law{Name: "integral", Mode: loop.Free},
		Guard: control.GuardSettings{Off: true}, Base: loop.Base{Table: &control.Table{Speeds: []float64{e.Point.Speed}, MAPs: []float64{e.Point.MAP}, Spark: [][]float64{{22 * deg}}}},
		Sensing: loop.Sensing{Signal: reader.Ion, Reader: "maximum", Pressure: true, Faults: []sensor.Fault{{Name: "amplifier-droop", From: 10, To: -1, Severity: 5}}}}
	for _, manual := range []float64{0, 6} {
		s.Legs = append(s.Legs, loop.Leg{Cycle: 20 * len(s.Legs), Operating: e.Point, Target: 15 * deg, Manual: manual * deg, HoldTorque: math.NaN()})
	}
	change(e, s)
	for i := range s.Legs {
		s.Legs[i].Operating.Split = e.Point.Split
	}
	b, err := loop.NewBench(context.Background(), s)
	require.NoError(t, err)
	run, err := b.Run(context.Background(), 3, nil)
	require.NoError(t, err)
	return b, run
}

// Replayed cycles are those of the run to the last bit: labels that the log has too,
// and what the reader makes of the samples again.
func TestReplay(t *testing.T) {
	for name, change := range map[string]func(*model.Engine, *loop.Scenario){
		"plain":    func(*model.Engine, *loop.Scenario) {},
		"governed": func(_ *model.Engine, s *loop.Scenario) { s.Legs[1].HoldTorque, s.Exact = 9, true },
		"two plugs": func(e *model.Engine, s *loop.Scenario) {
			e.Burn.Plugs, e.Burn.SecondX, e.Point.Split = 2, -0.02, 0.1
			s.Legs[1].ManualTrailing, s.Exact = 4*deg, true
		},
	} {
		t.Run(name, func(t *testing.T) {
			b, run := replayed(t, change)
			const from, to = 26, 44
			r, err := Replay(b, run, from, to)
			require.NoError(t, err)
			x := read(t, r, 0, to-from)
			require.Len(t, x.labels["cycle"], to-from)

			e := b.Scenario.Engine
			ch, err := e.Chamber()
			require.NoError(t, err)
			in := reader.Input{}
			for k := range 720 {
				in.Theta = append(in.Theta, ch.Strokes().Start+ch.Strokes().Period()/720*float64(k))
			}
			again, err := reader.New("maximum", reader.Ion, e, nil)
			require.NoError(t, err)
			seen := 0
			for i := range to - from {
				s := &run.Steps[from+i]
				require.Equal(t, float64(i), x.labels["cycle"][i])
				require.Equal(t, float64(s.Cycle), x.labels["run_cycle"][i])
				for column, want := range map[string]float64{"spark_deg_btdc": s.Fired.Leading / deg, "map_kpa": s.MAP / 1e3, "speed_rpm": s.Speed / rpm,
					"lpp_deg_atdc": s.Truth.LPP / deg, "pmax_bar": s.Truth.Peak / bar, "brake_torque_nm": s.Truth.Torque,
					"knock_intensity_bar": s.Truth.KnockIntensity / bar, "mbt_deg_btdc": s.Truth.MBT / deg} {
					require.Equal(t, want, x.labels[column][i], "%s of cycle %d", column, s.Cycle)
				}
				in.Cycle, in.Spark, in.Speed, in.MAP, in.Values = s.Cycle, s.Fired.Leading, s.Speed, s.MAP, in.Values[:0]
				for _, v := range x.channels["ion_ua"][i] {
					in.Values = append(in.Values, float64(v)*1e-6)
				}
				got := again.Read(&in)
				require.Equal(t, s.Single.Why, got.Why)
				require.Equal(t, s.Single.Quality, got.Quality)
				require.Equal(t, math.Float64bits(s.Single.Angle), math.Float64bits(got.Angle), "cycle %d", s.Cycle)
				if got.Why == "" {
					seen++
				}
				require.Equal(t, s.Gauge, float64(slices.Max(x.channels["pressure_bar"][i]))*bar)
			}
			require.Greater(t, seen, 10, "cycles that were read")
			part := read(t, r, 10, to-from) // whoever asks, and in whatever order
			require.Equal(t, x.labels["lpp_deg_atdc"][10:], part.labels["lpp_deg_atdc"])
			require.Equal(t, x.channels["ion_ua"][10:], part.channels["ion_ua"])
			require.Equal(t, 5., x.labels["fault_amplifier_droop"][0])
			switch name {
			case "plain":
				require.NoError(t, dataset.Write(context.Background(), &dataset.Plan{Dir: filepath.Join(t.TempDir(), "replay"), Formats: []string{"npz"},
					Cycles: to - from, Part: to - from, Workers: 1, Source: func() (dataset.Source, error) { return r.Source(context.Background()) }}))
			case "governed":
				require.NotEqual(t, 60., x.labels["map_kpa"][0])
			case "two plugs":
				require.InDelta(t, 0.1/deg-4, x.labels["trailing_split_deg"][0], 0.051, "half a step of the actuator")
			}
		})
	}
}

func TestReplayRefused(t *testing.T) {
	run := &loop.Run{Steps: make([]loop.Step, 10)}
	for _, x := range [][2]int{{-1, 5}, {10, 11}, {3, 3}, {3, 11}} {
		_, err := Replay(nil, run, x[0], x[1])
		var p *model.Problem
		require.ErrorAs(t, err, &p, "%v", x)
	}
}
