package page

import (
	"context"
	"errors"

	"phasebench/scenarios/record"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
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
	var sparks []float64
	for spark := sweepFrom; spark <= sweepTo; spark += sweepStep {
		op := q.engine.Point
		if op.Spark = float64(spark) * deg; op.Check(q.engine) == nil {
			sparks = append(sparks, op.Spark)
		}
	}
	b := p.benched(q.engine)
	var r, two *sweep.Result
	err := b.use(q.engine, func(s *solve.Solver) (err error) {
		if r, err = sweep.Run(ctx, s, q.engine.Point, sparks); err != nil {
			return err
		}
		mbt := r.MBT.Operating.Spark
		two, err = sweep.Run(ctx, s, q.engine.Point, []float64{mbt + beside*deg, mbt - beside*deg})
		return err
	})
	a := sweepAnswer{Points: []record.Cycle{}}
	switch {
	case errors.Is(err, sweep.ErrNoMBT):
		return a, nil
	case err != nil:
		return nil, err
	}
	b.keep(q.engine.Point, r.MBT)
	tell := func(p *sweep.Point) record.Cycle { return record.Of(&p.Operating, p.Lit, &p.Indicators) }
	for i := range r.Points {
		a.Points = append(a.Points, tell(&r.Points[i]))
	}
	best := tell(&r.MBT)
	a.MBT = &best
	a.Early, a.Late = record.Number(r.Loss(&two.Points[0]), 1), record.Number(r.Loss(&two.Points[1]), 1)
	return a, nil
}
