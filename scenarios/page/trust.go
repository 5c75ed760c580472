package page

import (
	"context"
	"math"

	"phasebench/scenarios/reader"
	"phasebench/scenarios/record"
	"phasebench/scenarios/trust"
)

// The sparks of a flip map [deg] and the cycles of each, as the command has them where
// nothing else is said.
const (
	trustFrom, trustTo, trustStep = -20, 60, 5
	trustCycles                   = 100
)

// trustTakes is what a node of a flip map depends on.
var trustTakes = seeing.with(seed, number{"target_deg", -20, 45, 15, false}, number{"causes", 0, 1, 0, true})

// fooledTakes is what the cycle that misled depends on: one spark of the node, and what
// the reader reads there when the true peak is on target.
var fooledTakes = seeing.with(seed, number{"target_deg", -20, 45, 15, false}, number{"at_spark_deg", trustFrom, trustTo, 20, false}, number{"aim_deg", -360, 360, 15, false})

// plan is that of one node of a flip map.
func (q *query) plan() (*trust.Plan, error) {
	p := &trust.Plan{Engine: q.engine, Speeds: []float64{q.engine.Point.Speed}, MAPs: []float64{q.engine.Point.MAP}, Cycles: trustCycles,
		Seed: uint64(q.whole("seed")), Signal: q.signal(), Readers: []string{q.words["reader"]}, Target: q.numbers["target_deg"] * deg, Workers: 1}
	for spark := trustFrom; spark <= trustTo; spark += trustStep {
		op := q.engine.Point
		if op.Spark = float64(spark) * deg; op.Check(q.engine) == nil {
			p.Sparks = append(p.Sparks, op.Spark)
		}
	}
	var err error
	p.Setup, err = q.rig()
	return p, err
}

// trust lays a reader over the sparks of one operating point.
func (p *Page) trust(ctx context.Context, q *query) (any, error) {
	plan, err := q.plan()
	if err != nil {
		return nil, err
	}
	plan.Causes = q.numbers["causes"] == 1
	m, err := trust.Run(ctx, plan, nil)
	if err != nil {
		return nil, err
	}
	return m.Nodes[0][0].Record(), nil
}

// fooledAnswer is one cycle as a reader saw it; the keys are a contract with the page.
type fooledAnswer struct {
	Cycle    int      `json:"cycle"`
	Spark    float64  `json:"spark_deg_btdc"`
	Read     *float64 `json:"read_deg_atdc"`      // null: it declined
	Why      string   `json:"why"`                // then
	Truth    *float64 `json:"true_peak_deg_atdc"` // null: a misfire
	LPP      *float64 `json:"lpp_deg_atdc"`
	Pmax     *float64 `json:"pmax_bar"`
	Wrong    bool     `json:"wrong_side"`
	Misfire  bool     `json:"misfire"`
	Theta    numbers  `json:"theta"` // of what follows [deg after TDC]
	Pressure numbers  `json:"pressure_bar"`
	Signal   numbers  `json:"signal"`
	Unit     string   `json:"unit"` // of the signal
}

// fooled finds the cycle of one spark that misled the reader most.
func (p *Page) fooled(ctx context.Context, q *query) (any, error) {
	plan, err := q.plan()
	if err != nil {
		return nil, err
	}
	at, k := q.numbers["at_spark_deg"]*deg, 0
	for i, spark := range plan.Sparks {
		if math.Abs(spark-at) < math.Abs(plan.Sparks[k]-at) {
			k = i
		}
	}
	e, err := plan.Worst(ctx, q.engine.Point.Speed, q.engine.Point.MAP, k, q.numbers["aim_deg"]*deg)
	if err != nil {
		return nil, err
	}
	_, unit := q.signal().Channel()
	from, to := window(e.Theta)
	a := fooledAnswer{Cycle: e.Cycle, Spark: e.Spark / deg, Read: record.Number(e.Read.Angle, deg), Why: e.Read.Why, Truth: record.Number(e.Truth, deg),
		LPP: record.Number(e.LPP, deg), Pmax: record.Number(e.Peak, 1e5), Wrong: e.Wrong, Misfire: e.Misfire, Unit: "bar",
		Theta: numbers{e.Theta[from:to], deg, 6}, Pressure: numbers{e.Pressure[from:to], 1e5, 5}, Signal: numbers{e.Samples[from:to], unit, 5}}
	if q.signal() == reader.Ion {
		a.Unit = "\u00b5A"
	}
	return a, nil
}
