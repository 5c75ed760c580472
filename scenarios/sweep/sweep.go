// Package sweep varies the spark at one operating point and finds MBT, the
// spark advance of maximum brake torque.
package sweep

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/optimize"

	"phasebench/model"
	"phasebench/solve"
)

// ErrNoMBT is wrapped when no spark makes the engine drive.
var ErrNoMBT = errors.New("no spark advance of maximum brake torque")

// Point is one spark advance and what came of it.
type Point struct {
	Operating model.Operating
	Lit       bool
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
	return Point{op, c.Lit, c.Indicators}, nil
}

// MBT finds the spark advance of maximum brake torque at op, whatever
// op.Spark is. The error wraps ErrNoMBT where no spark lights the charge.
func MBT(ctx context.Context, s *solve.Solver, op model.Operating) (Point, error) {
	// A coarse look first: far from MBT the torque has other, lower humps, and
	// sparks that light nothing.
	const step = 10 * deg
	from, to := s.Engine().Sealed()
	best := Point{}
	best.Torque = math.Inf(-1)
	for spark := -20 * deg; spark <= 90*deg; spark += step {
		if !(-spark > from && -spark < to) {
			continue
		}
		p, err := at(ctx, s, op, spark)
		if err != nil {
			return Point{}, err
		}
		if p.Lit && p.Torque > best.Torque {
			best = p
		}
	}
	if math.IsInf(best.Torque, -1) {
		return Point{}, fmt.Errorf("sweep: at lambda %.3g and %.4g kPa no spark lights the charge: %w", op.Lambda, op.MAP/1e3, ErrNoMBT)
	}

	// Torque in units of the swept volume times 1 bar, spark in steps: both of
	// order one for the optimiser.
	var failed error
	scale := s.Chamber().Swept() * 1e5
	problem := optimize.Problem{Func: func(x []float64) float64 {
		if failed != nil {
			return math.Inf(1)
		}
		p, err := at(ctx, s, op, best.Operating.Spark+x[0]*step)
		if err != nil {
			var out *model.Problem
			if !errors.As(err, &out) { // beyond the valves is merely out of bounds
				failed = err
			}
			return math.Inf(1)
		}
		if !p.Lit {
			return math.Inf(1)
		}
		return -p.Torque / scale
	}}
	found, err := optimize.Minimize(problem, []float64{0}, &optimize.Settings{
		Converger: &optimize.FunctionConverge{Absolute: 1e-10, Iterations: 8},
	}, &optimize.NelderMead{SimplexSize: 0.4})
	if failed != nil {
		return Point{}, failed
	}
	if err != nil {
		return Point{}, fmt.Errorf("sweep: %w: %w", ErrNoMBT, err)
	}
	return at(ctx, s, op, best.Operating.Spark+found.X[0]*step)
}
