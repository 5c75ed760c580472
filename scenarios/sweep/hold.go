package sweep

import (
	"context"
	"errors"
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/solve"
)

// ErrTorque is wrapped when no manifold pressure gives the torque asked for.
var ErrTorque = errors.New("no manifold pressure holds the torque")

// The manifold pressures that are looked at where torque is held [Pa].
const (
	leastMAP = 15e3
	mostMAP  = 300e3
)

// HoldTorque finds, for every spark advance [rad] in sparks, the manifold
// pressure from 15 to 300 kPa at which the brake torque is torque [N·m],
// whatever op.MAP and op.Spark are. Where there is none, the point is Missing.
func HoldTorque(ctx context.Context, s *solve.Solver, op model.Operating, torque float64, sparks []float64) ([]Point, error) {
	for _, spark := range sparks { // before any work is done
		o := op
		o.Spark = spark
		if err := o.Check(s.Engine()); err != nil {
			return nil, err
		}
	}
	var points []Point
	for _, spark := range sparks {
		o := op
		o.MAP, o.Spark = throttle(s, torque), spark
		p, err := hold(ctx, s, o, torque)
		if err != nil {
			return nil, err
		}
		points = append(points, p)
	}
	return points, nil
}

// HoldTorqueMBT finds the spark that holds the torque with the least air. The
// error wraps ErrTorque where none holds it.
func HoldTorqueMBT(ctx context.Context, s *solve.Solver, op model.Operating, torque float64) (Point, error) {
	op.MAP = throttle(s, torque)
	start, err := MBT(ctx, s, op)
	if err != nil {
		return Point{}, err
	}
	var points []Point
	find := func(spark float64) (Point, error) {
		for _, p := range points {
			if p.Operating.Spark == spark {
				return p, nil
			}
		}
		o := op
		o.Spark = spark
		p, err := hold(ctx, s, o, torque)
		points = append(points, p)
		return p, err
	}
	first, err := find(start.Operating.Spark)
	if err != nil {
		return Point{}, err
	}
	if first.Missing != "" {
		return Point{}, fmt.Errorf("sweep: %.4g N·m at %.4g rpm, even at MBT: %s: %w", torque, op.Speed*30/math.Pi, first.Missing, ErrTorque)
	}
	op.MAP = first.Operating.MAP // a better guess for the sparks around
	l := line{solver: s, op: op}
	low, high := l.ends()
	x, err := peak(func(spark float64) (float64, error) {
		p, err := find(spark)
		if err != nil || p.Missing != "" {
			return math.Inf(-1), err
		}
		return -p.Airflow, nil
	}, start.Operating.Spark, low, high, 4*deg, 1.5*deg)
	if err != nil {
		return Point{}, err
	}
	p, err := find(x)
	if err == nil && p.Missing != "" {
		p = first
	}
	return p, err
}

// throttle guesses the manifold pressure for a brake torque: 1.1 bar lost to
// friction and pumping, and 10 bar of mean pressure for each bar in the
// manifold (common practice, no source).
func throttle(s *solve.Solver, torque float64) float64 {
	strokes := s.Chamber().Strokes()
	bmep := torque * strokes.Period() / s.Chamber().Swept() / s.Engine().Chambers()
	return math.Min(math.Max((bmep+1.1e5)/10, 1.2*leastMAP), 0.8*mostMAP)
}

// hold solves one spark, op.MAP being a first guess.
func hold(ctx context.Context, s *solve.Solver, op model.Operating, torque float64) (Point, error) {
	var found Point // the latest
	var failed error
	off := func(pressure float64) (float64, error) {
		op.MAP = pressure
		var err error
		if found, err = at(ctx, s, op, op.Spark); ctx.Err() != nil {
			return 0, ctx.Err()
		}
		if err != nil { // too little charge to run on: no torque either
			failed = err
			return math.NaN(), nil
		}
		return found.Torque - torque, nil
	}
	none := func(format string, v ...any) (Point, error) {
		op.MAP = math.NaN()
		why := fmt.Sprintf(format, v...)
		if failed != nil {
			why += ": " + failed.Error()
		}
		return missing(op, why), nil
	}

	// Torque rises with pressure, nearly in a straight line.
	tol := 1e-6 * 1e5 * s.Chamber().Swept() * s.Engine().Chambers() // 1e-6 bar of mean pressure, about
	a := op.MAP
	fa, err := off(a)
	if err != nil {
		return Point{}, err
	}
	for n := 0; ; n++ {
		if math.Abs(fa) <= tol {
			break
		}
		b := math.Min(a*1.3, mostMAP)
		switch {
		case fa > 0:
			b = math.Max(a/1.3, leastMAP)
		case math.IsNaN(fa) && n > 0:
			return none("the engine does not run at %.3g kPa", a/1e3)
		}
		if b == a {
			if fa > 0 {
				return none("more torque already at %.3g kPa", a/1e3)
			}
			return none("less torque even at %.3g kPa", a/1e3)
		}
		fb, err := off(b)
		if err != nil {
			return Point{}, err
		}
		if !math.IsNaN(fb) && !math.IsNaN(fa) && (fa > 0) != (fb > 0) {
			if _, _, err := root(off, a, fa, b, fb, 1e-9*b, tol); err != nil {
				return Point{}, err
			}
			break
		}
		a, fa = b, fb
	}
	switch f := found.Torque - torque; {
	case !(math.Abs(f) <= 100*tol): // a leap where the spark begins to light
		return none("torque leaps past it at %.4g kPa", found.Operating.MAP/1e3)
	case !found.Lit:
		return none("the charge does not light at %.4g kPa", found.Operating.MAP/1e3)
	}
	return found, nil
}
