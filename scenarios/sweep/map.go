package sweep

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"

	"phasebench/model"
	"phasebench/solve"
)

// Plan is what a Grid is to hold.
type Plan struct {
	Speeds  []float64 // [rad/s], rising, at least one
	MAPs    []float64 // [Pa], rising, at least one
	LPP     float64   // held, for its cost [rad], -60 to 60 deg; a usual value is 15 deg
	CA50    float64   // the same of CA50 [rad]; a usual value is 8 deg
	Workers int       // solvers that run at once, at least 1; the result is the same
}

// heldAngle is the farthest from dead centre that LPP or CA50 can be asked to
// stay [rad].
const heldAngle = 60 * deg

// Check returns a *model.Problem if p is not in order for e at op.
func (p *Plan) Check(e *model.Engine, op model.Operating) error {
	for _, x := range []struct {
		key   string
		value float64
	}{{"lpp_deg", p.LPP / deg}, {"ca50_deg", p.CA50 / deg}} {
		if !(x.value >= -heldAngle/deg && x.value <= heldAngle/deg) {
			return &model.Problem{Key: x.key, Given: fmt.Sprintf("%.6g", x.value), Want: "-60 to 60 deg after dead centre"}
		}
	}
	if p.Workers < 1 {
		return &model.Problem{Key: "workers", Given: fmt.Sprint(p.Workers), Want: "at least 1"}
	}
	for _, x := range []struct {
		key    string
		values []float64
	}{{"speed_rpm", p.Speeds}, {"map_kpa", p.MAPs}} {
		if len(x.values) == 0 || !slices.IsSorted(x.values) {
			return &model.Problem{Key: x.key, Given: fmt.Sprint(x.values), Want: "one value at least, rising"}
		}
	}
	for _, speed := range p.Speeds {
		for _, pressure := range p.MAPs {
			op.Speed, op.MAP = speed, pressure
			if err := op.Check(e); err != nil {
				return err
			}
		}
	}
	return nil
}

// Map solves every node of p. Each stands alone: neither the others nor the
// number of workers change it. One at which the engine does not run says so in
// its Err. Map stops with ctx.Err() when ctx ends.
func Map(ctx context.Context, e *model.Engine, op model.Operating, p *Plan) (*Grid, error) {
	if err := p.Check(e, op); err != nil {
		return nil, err
	}
	g := &Grid{Operating: op, Speeds: slices.Clone(p.Speeds), MAPs: slices.Clone(p.MAPs), LPP: p.LPP, CA50: p.CA50,
		Nodes: make([]Node, len(p.Speeds)*len(p.MAPs))}
	solvers := make([]*solve.Solver, min(p.Workers, len(g.Nodes)))
	for i := range solvers {
		var err error
		if solvers[i], err = solve.New(e, nil); err != nil {
			return nil, err
		}
	}
	var next atomic.Int64
	var all sync.WaitGroup
	for _, s := range solvers {
		all.Go(func() {
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= len(g.Nodes) {
					return
				}
				at := op
				at.Speed, at.MAP = g.Speeds[i/len(g.MAPs)], g.MAPs[i%len(g.MAPs)]
				g.Nodes[i] = node(ctx, s, at, p)
			}
		})
	}
	all.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return g, nil
}

// node solves one node; what it returns once ctx has ended is of no use.
func node(ctx context.Context, s *solve.Solver, op model.Operating, p *Plan) Node {
	n := Node{Speed: op.Speed, MAP: op.MAP}
	fill := func(err error) Node {
		n.Err = err.Error()
		n.MBT, n.Knock = missing(op, n.Err), Limit{Point: missing(op, n.Err)}
		n.HeldLPP, n.HeldCA50 = n.MBT, n.MBT
		return n
	}
	l := line{solver: s, op: op}
	var err error
	if n.MBT, err = l.mbt(ctx); err != nil {
		return fill(err)
	}
	if n.Knock, err = l.knockLimit(ctx); err != nil {
		return fill(err)
	}
	if n.HeldLPP, err = l.held(ctx, &n.MBT, "LPP", p.LPP, func(p *Point) float64 { return p.LPP }); err != nil {
		return fill(err)
	}
	if n.HeldCA50, err = l.held(ctx, &n.MBT, "CA50", p.CA50, func(p *Point) float64 { return p.CA50 }); err != nil {
		return fill(err)
	}
	return n
}
