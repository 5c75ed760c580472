// Package sweep varies the spark at one operating point and finds MBT, the
// spark advance of maximum brake torque.
package sweep

import (
	"context"
	"errors"
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/solve"
)

// ErrNoMBT is wrapped when no spark makes the engine drive.
var ErrNoMBT = errors.New("no spark advance of maximum brake torque")

// Point is one spark advance and what came of it.
type Point struct {
	Operating model.Operating
	Lit       bool
	Missing   string // why the point has no numbers, which are NaN then; "": it has
	solve.Indicators
}

// Result is a sweep.
type Result struct {
	Points []Point // in the order asked for
	MBT    Point   // at the spark advance that optimisation found
}

// Loss is the brake torque that p lacks to MBT, over that at MBT [-].
func (r *Result) Loss(p *Point) float64 { return 1 - p.Torque/r.MBT.Torque }

const deg = math.Pi / 180

// Run solves the cycle of s at op for every spark advance [rad] in sparks and
// finds MBT. It stops with ctx.Err() when ctx ends.
func Run(ctx context.Context, s *solve.Solver, op model.Operating, sparks []float64) (*Result, error) {
	for _, spark := range sparks { // before any work is done
		o := op
		o.Spark = spark
		if err := o.Check(s.Engine()); err != nil {
			return nil, err
		}
	}
	r := &Result{}
	for _, spark := range sparks {
		p, err := at(ctx, s, op, spark)
		if err != nil {
			return nil, err
		}
		r.Points = append(r.Points, p)
	}
	var err error
	r.MBT, err = MBT(ctx, s, op)
	return r, err
}

// at solves one point.
func at(ctx context.Context, s *solve.Solver, op model.Operating, spark float64) (Point, error) {
	if err := ctx.Err(); err != nil {
		return Point{}, err
	}
	op.Spark = spark
	c := solve.Cycle{}
	if err := s.Run(&op, &c); err != nil {
		return Point{}, fmt.Errorf("at spark %.4g deg before dead centre: %w", spark/deg, err)
	}
	return Point{Operating: op, Lit: c.Lit, Indicators: c.Indicators}, nil
}

// MBT finds the spark advance of maximum brake torque at op, whatever
// op.Spark is. The error wraps ErrNoMBT where no spark lights the charge.
func MBT(ctx context.Context, s *solve.Solver, op model.Operating) (Point, error) {
	l := line{solver: s, op: op}
	return l.mbt(ctx)
}
