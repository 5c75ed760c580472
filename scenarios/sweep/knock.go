package sweep

import (
	"context"
	"math"

	"phasebench/model"
	"phasebench/solve"
)

// KnockLimit finds the knock-limited spark at op, whatever op.Spark is: the
// most advanced one, from 20 deg after dead centre on, up to which the
// autoignition integral stays at or below 1. Far beyond MBT the integral falls
// again, since the charge has then burned before it is hot; that is no place to
// run at and does not count.
func KnockLimit(ctx context.Context, s *solve.Solver, op model.Operating) (Limit, error) {
	l := line{solver: s, op: op}
	return l.knockLimit(ctx)
}

func (l *line) knockLimit(ctx context.Context) (Limit, error) {
	knocks := func(p *Point) bool { return p.KnockIntegral > 1 }
	points, err := l.scan(ctx, knocks)
	if err != nil {
		return Limit{}, err
	}
	var lit []Point
	most := 0 // of lit, the greatest integral
	for i := range points {
		if p := &points[i]; p.Lit {
			lit = append(lit, *p)
			if p.KnockIntegral > lit[most].KnockIntegral {
				most = len(lit) - 1
			}
		}
	}
	if len(lit) == 0 {
		op := l.op
		return Limit{Point: missing(op, "no spark lights the charge")}, nil
	}
	last := &lit[len(lit)-1]
	if knocks(last) && len(lit) == 1 {
		return Limit{*last, Always}, nil
	}
	const limit = 1 - 2e-5 // so near is near enough, and stays below 1
	over := func(spark float64) (float64, error) {
		p, err := l.at(ctx, spark)
		if !p.Lit {
			return -1, err
		}
		return p.KnockIntegral - limit, err
	}
	below, above := &lit[max(len(lit)-2, 0)], last
	if !knocks(last) {
		// The greatest integral may lie above 1 between two sparks.
		const near = 0.8
		if most == 0 || most == len(lit)-1 || lit[most].KnockIntegral < near {
			return Limit{*last, Free}, nil
		}
		low, high := lit[most-1].Operating.Spark, lit[most+1].Operating.Spark
		x, err := peak(over, lit[most].Operating.Spark, low, high, 4*deg, 1.5*deg)
		if err != nil {
			return Limit{}, err
		}
		top, err := l.at(ctx, x)
		if err != nil {
			return Limit{}, err
		}
		if !knocks(&top) {
			return Limit{*last, Free}, nil
		}
		below, above = &lit[most-1], &top
	}
	const dx, df = 1e-3 * deg, 1e-5 // finer than the noise of the solver in the integral
	ends, values, err := root(over, below.Operating.Spark, below.KnockIntegral-limit, above.Operating.Spark, above.KnockIntegral-limit, dx, df)
	if err != nil {
		return Limit{}, err
	}
	i := 0 // below the limit
	if math.Abs(values[1]) <= df {
		i = 1 // or above it by less than lies between it and 1
	}
	p, err := l.at(ctx, ends[i])
	return Limit{p, Limited}, err
}
