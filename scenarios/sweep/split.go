package sweep

import (
	"context"
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/solve"
)

// Flat is the share of the brake torque within which splits count as good as the
// best [-].
const Flat = 0.01

// Splits is how torque answers to the split between leading and trailing plug,
// the leading one always firing at its MBT.
type Splits struct {
	Points []Point // in the order asked for
	Best   Point   // of the most torque that the search met, between the ends of those asked for
	Edge   bool    // Best is at one of these ends
	From   float64 // least and
	To     float64 // greatest split [rad] around Best with at most Flat less torque; an end if that is within Flat
}

// Loss is the brake torque that p lacks to the best split, over that [-].
func (r *Splits) Loss(p *Point) float64 { return 1 - p.Torque/r.Best.Torque }

// OverSplits finds MBT at op for every split [rad] in splits, whatever op.Spark
// and op.Split are, and the best split between the least and the greatest of them.
// The error is a *model.Problem for an engine with one plug, and wraps ErrNoMBT if
// no spark lights the charge.
func OverSplits(ctx context.Context, s *solve.Solver, op model.Operating, splits []float64) (*Splits, error) {
	if plugs := s.Engine().Burn.Plugs; plugs != 2 || len(splits) == 0 {
		return nil, &model.Problem{Key: "burn.plugs", Given: fmt.Sprint(plugs), Want: "two plugs, and one split at least"}
	}
	for _, split := range splits { // before any work is done
		o := op
		o.Split = split
		if err := o.Check(s.Engine()); err != nil {
			return nil, err
		}
	}
	points, last := map[float64]Point{}, math.NaN()
	find := func(split float64) (Point, error) {
		if p, ok := points[split]; ok {
			return p, nil
		}
		o := op
		o.Split = split
		l := line{solver: s, op: o}
		p, err := l.mbtNear(ctx, last)
		points[split], last = p, p.Operating.Spark
		return p, err
	}
	r := &Splits{}
	low, high := math.Inf(1), math.Inf(-1)
	for _, split := range splits {
		p, err := find(split)
		if err != nil {
			return nil, err
		}
		if r.Points = append(r.Points, p); len(r.Points) == 1 || p.Torque > r.Best.Torque {
			r.Best = p
		}
		low, high = math.Min(low, split), math.Max(high, split)
	}
	torque := func(split float64) (float64, error) { p, err := find(split); return p.Torque, err }
	if least := 2 * splitStrides[0]; high-low >= least {
		x, err := peak(torque, r.Best.Operating.Split, low, high, splitStrides[:]...)
		if err != nil {
			return nil, err
		}
		p, err := find(x)
		if err != nil {
			return nil, err
		}
		for _, p := range append(r.Points, p) {
			if p.Torque > r.Best.Torque {
				r.Best = p
			}
		}
	}
	best := r.Best.Operating.Split
	r.Edge = best == low || best == high
	var err error
	if r.From, err = r.leaves(torque, best, low); err == nil {
		r.To, err = r.leaves(torque, best, high)
	}
	return r, err
}

// splitStrides are those of the search for the best split [rad].
var splitStrides = [2]float64{4 * deg, 2 * deg}

// leaves returns where, on the way from the best split to end, the torque has
// fallen by Flat, within 0.05 deg; end if it has not by there.
func (r *Splits) leaves(torque func(float64) (float64, error), best, end float64) (float64, error) {
	above := func(split float64) (float64, error) {
		t, err := torque(split)
		return t/r.Best.Torque - (1 - Flat), err
	}
	const step = 5 * deg
	a, fa := best, Flat
	for a != end {
		b := end
		if math.Abs(end-a) > step {
			b = a + math.Copysign(step, end-a)
		}
		fb, err := above(b)
		if err != nil {
			return 0, err
		}
		if fb < 0 {
			ends, _, err := root(above, a, fa, b, fb, 0.05*deg, 1e-6)
			return ends[0], err
		}
		a, fa = b, fb
	}
	return end, nil
}
