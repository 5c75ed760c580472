package page

import (
	"context"
	"errors"

	"phasebench/scenarios/record"
	"phasebench/scenarios/sweep"
)

// The sparks of the curve of torque [deg], and how far from MBT a loss is told.
const (
	sweepFrom, sweepTo, sweepStep = -5, 55, 5
	beside                        = 5
)

// sweepAnswer is torque against spark; the keys are a contract with the page.
type sweepAnswer struct {
	Points []record.Cycle `json:"points"`
	MBT    *record.Cycle  `json:"mbt"`   // null: there is none
	Early  *float64       `json:"early"` // share of torque lost 5 deg before MBT
	Late   *float64       `json:"late"`  // and after it
}

// sweep computes torque over the spark, and MBT.
func (p *Page) sweep(ctx context.Context, q *query) (any, error) {
	b := p.engines.of(q.engine)
	s, err := b.solver(q.engine)
	if err != nil {
		return nil, err
	}
	defer b.give(s)
	var sparks []float64
	for spark := sweepFrom; spark <= sweepTo; spark += sweepStep {
		op := q.engine.Point
		if op.Spark = float64(spark) * deg; op.Check(q.engine) == nil {
			sparks = append(sparks, op.Spark)
		}
	}
	var a sweepAnswer
	r, err := sweep.Run(ctx, s, q.engine.Point, sparks)
	switch {
	case errors.Is(err, sweep.ErrNoMBT):
		return a, nil
	case err != nil:
		return nil, err
	}
	tell := func(p *sweep.Point) record.Cycle { return record.Of(&p.Operating, p.Lit, &p.Indicators) }
	for i := range r.Points {
		a.Points = append(a.Points, tell(&r.Points[i]))
	}
	b.keep(q.engine.Point, r.MBT)
	best := tell(&r.MBT)
	a.MBT = &best
	mbt := r.MBT.Operating.Spark
	two, err := sweep.Run(ctx, s, q.engine.Point, []float64{mbt + beside*deg, mbt - beside*deg})
	if err != nil {
		return nil, err
	}
	a.Early, a.Late = record.Number(r.Loss(&two.Points[0]), 1), record.Number(r.Loss(&two.Points[1]), 1)
	return a, nil
}
