package page

import (
	"context"
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/trust"
)

// A node is that of the plan itself, and the cycle that misled is one of the cell: its reading is off by the rms error or more
// where half of the readings are on the wrong side.
func TestFooled(t *testing.T) {
	at := "http://" + serve(t) + "/api/"
	const point = "?signal=pressure&reader=maximum&map_kpa=70"
	code, _, text := ask(t, "GET", at+"trust"+point, "", nil)
	require.Equal(t, 200, code, text)
	var node trust.NodeRecord
	require.NoError(t, json.Unmarshal([]byte(text), &node))
	require.Len(t, node.Cells, 17)

	// It is what the command has at its defaults, but of one load.
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	target := 15. // no constant: those are multiplied without rounding
	plan := trust.Plan{Engine: e, Speeds: []float64{e.Point.Speed}, MAPs: []float64{70e3}, Cycles: 100, Seed: 1, Signal: reader.Pressure,
		Setup: sensor.Usual(e), Readers: []string{"maximum"}, Target: target * deg, Workers: 1}
	plan.Setup.Wheel, plan.Setup.Ion = nil, nil
	for spark := -20.; spark <= 60; spark += 5 {
		plan.Sparks = append(plan.Sparks, spark*deg)
	}
	m, err := trust.Run(context.Background(), &plan, nil)
	require.NoError(t, err)
	want := m.Nodes[0][0].Record()
	require.Equal(t, want, node)

	cell := node.Cells[1] // -15: late burns, whose motored hump wins
	require.Greater(t, *cell.Wrong, 0.3)
	code, _, text = ask(t, "GET", at+"fooled"+point+"&at_spark_deg=-15&aim_deg=15", "", nil)
	require.Equal(t, 200, code, text)
	var f struct {
		Spark float64 `json:"spark_deg_btdc"`
		Read  float64 `json:"read_deg_atdc"`
		Truth float64 `json:"true_peak_deg_atdc"`
		Wrong bool    `json:"wrong_side"`
		Theta []float64
		Bar   []float64 `json:"pressure_bar"`
	}
	require.NoError(t, json.Unmarshal([]byte(text), &f))
	require.InDelta(t, -15, f.Spark, 1e-9)
	require.True(t, f.Wrong)
	require.Greater(t, math.Abs(f.Read-f.Truth), *cell.Error)
	require.Len(t, f.Bar, len(f.Theta))
}

// A client that goes away leaves no computation behind.
func TestTrustStops(t *testing.T) {
	p := New("test")
	q, err := parse(nil, &trustTakes)
	require.NoError(t, err)
	ctx, leave := context.WithTimeout(context.Background(), 50*time.Millisecond)
	defer leave()
	_, err = p.trust(ctx, q)
	require.ErrorIs(t, err, context.DeadlineExceeded)
}
