package page

import (
	"context"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
	"phasebench/scenarios/traces"
)

type raggedText struct {
	First    int
	Numbers  map[string][]*float64
	Theta    []float64
	Pressure [][]float64 `json:"pressure_bar"`
	Signal   [][]float64
	Misfire  []bool
	Why      []string
}

// The cycles are those that the command traces writes with the same seed.
func TestRaggedIsTheCommands(t *testing.T) {
	at := "http://" + serve(t) + "/api/ragged"
	a := answerOf[raggedText](t, at+"?signal=pressure&map_kpa=60&seed=3&cycles=150")
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	e.Point.MAP = 60 * 1e3
	s, err := stream.New(e, stream.Steadily(e.Point), &stream.Settings{Seed: 3})
	require.NoError(t, err)
	b := traces.Bench{Stream: s, Setup: sensor.Setup{Pressure: sensor.UsualTransducer()}, Seed: 3, Truth: true}
	source, err := b.Source(context.Background())
	require.NoError(t, err)
	n := 0
	for row, err := range source.Rows(0, 150) {
		require.NoError(t, err)
		for i, c := range source.Columns() {
			if have, ok := a.Numbers[c.Name]; ok {
				require.InEpsilon(t, row.Labels[i], *have[n], 1e-8, "%s of cycle %d", c.Name, n)
			}
		}
		for k := range a.Theta { // from -60 deg on, 720 samples from -360
			require.InDelta(t, row.Channels[0][300+k], a.Signal[n][k], 2e-3)
			require.InDelta(t, row.Channels[1][300+k], a.Pressure[n][k], 2e-3)
		}
		n++
	}
	require.Equal(t, 150, n)
	require.InDelta(t, -60, a.Theta[0], 1e-6)
	require.InDelta(t, 120, a.Theta[len(a.Theta)-1], 1e-6)
}

// The readings are those of the reader of that name, given the same stream through the
// same instruments; the tracker is one that remembers, and declines some.
func TestRaggedReadings(t *testing.T) {
	const cycles = 60
	at := "http://" + serve(t) + "/api/ragged"
	for _, x := range []struct {
		signal reader.Signal
		name   string
	}{{reader.Pressure, "parabola"}, {reader.Ion, "tracker"}} {
		a := answerOf[raggedText](t, fmt.Sprintf("%s?signal=%s&reader=%s&map_kpa=50&seed=5&cycles=%d", at, x.signal, x.name, cycles))
		e, err := model.Load(model.Default)
		require.NoError(t, err)
		e.Point.MAP = 50 * 1e3
		s, err := stream.New(e, stream.Steadily(e.Point), &stream.Settings{Seed: 5})
		require.NoError(t, err)
		set := sensor.Usual(e)
		set.Wheel = nil
		if x.signal == reader.Ion {
			set.Pressure = nil
		} else {
			set.Ion = nil
		}
		rig, err := sensor.New(e, set, 5)
		require.NoError(t, err)
		r, err := reader.New(x.name, x.signal, e, nil)
		require.NoError(t, err)
		_, unit := x.signal.Channel()
		var took sensor.Record
		read := 0
		for c, err := range s.Cycles(context.Background(), 0, cycles) {
			require.NoError(t, err)
			require.NoError(t, rig.Take(c, &took))
			in := reader.Input{Cycle: c.Number, Theta: c.Theta, Spark: c.Operating.Spark, Speed: c.Clock.Speed, MAP: c.Operating.MAP}
			for _, v := range took.Values[0] {
				in.Values = append(in.Values, float64(v)*unit)
			}
			want := r.Read(&in)
			require.Equal(t, want.Why, a.Why[c.Number])
			have := a.Numbers["read_deg_atdc"][c.Number]
			if math.IsNaN(want.Angle) {
				require.Nil(t, have)
				continue
			}
			require.InDelta(t, want.Angle/deg, *have, 1e-6, "%s, cycle %d", x.name, c.Number) // nine figures are sent
			read++
		}
		require.Greater(t, read, cycles/4, x.name)
	}
}

// Asked for in parts they are the same cycles, seen the same by a reader that does not
// remember, within what nine figures, and five of a trace, leave.
func TestRaggedInParts(t *testing.T) {
	at := "http://" + serve(t) + "/api/ragged?signal=pressure&reader=parabola"
	whole, part := answerOf[raggedText](t, at+"&cycles=200"), answerOf[raggedText](t, at+"&first=100&cycles=100")
	require.Equal(t, 100, part.First)
	require.Len(t, part.Numbers, 5)
	for name, values := range part.Numbers {
		for n, v := range values {
			require.InDelta(t, *whole.Numbers[name][100+n], *v, 1e-6, "%s of cycle %d", name, 100+n)
		}
	}
	for n := range part.Pressure {
		require.InDeltaSlice(t, whole.Pressure[100+n], part.Pressure[n], 1e-6)
		require.InDeltaSlice(t, whole.Signal[100+n], part.Signal[n], 1e-6)
	}
}

// A fault moves what is read and not what is true; a dead plug is declined.
func TestRaggedFaults(t *testing.T) {
	at := "http://" + serve(t) + "/api/ragged?cycles=50"
	plain, moved := answerOf[raggedText](t, at+"&signal=pressure&reader=parabola"), answerOf[raggedText](t, at+"&signal=pressure&reader=parabola&faults=tdc-offset%3D2")
	require.Equal(t, plain.Numbers["lpp_deg_atdc"], moved.Numbers["lpp_deg_atdc"])
	off := 0.
	for n := range 50 {
		off += (*moved.Numbers["read_deg_atdc"][n] - *plain.Numbers["read_deg_atdc"][n]) / 50
	}
	require.InDelta(t, 2, off, 0.3) // it reads as much too late an angle; each reading has noise
	for _, v := range answerOf[raggedText](t, at+"&signal=ion&reader=tracker&faults=dead-ion").Numbers["read_deg_atdc"] {
		require.Nil(t, v)
	}
}

// Nobody gets more than a page needs.
func TestRefusesMuch(t *testing.T) {
	at := "http://" + serve(t) + "/api/"
	for query, want := range map[string]string{
		"ragged?cycles=1000000000": "want 1 to 200", "ragged?first=1000000000": "want 0 to 100000", "ragged?cycles=1e99": "want 1 to 200", "ragged?cycles=2.5": "a whole number",
		"ragged?signal=sound": "one of ion, pressure", "ragged?signal=ion&reader=ca50": "reader = ", "ragged?faults=tdc-offset,,": "fault is missing", "ragged?faults=nonsense": "fault = nonsense", "trust?cycles=1000000000": "cycles = 1000000000: want one of",
		"trust?target_deg=NaN": "want -20 to 45", "fooled?at_spark_deg=1e9": "want -20 to 60", "loop?to=1000000000": "want 0 to 3000",
	} {
		code, _, text := ask(t, "GET", at+query, "", nil)
		require.Equal(t, 400, code, query)
		require.Contains(t, text, want, query)
	}
	long := "tdc-offset"
	for range mostFaults {
		long += ",tdc-offset"
	}
	code, _, text := ask(t, "GET", fmt.Sprintf("%sragged?faults=%s", at, long), "", nil)
	require.Equal(t, 400, code)
	require.Contains(t, text, "20 or fewer")
}
