// Package stream gives successive cycles of one cylinder, each different from
// the one before as those of real engines are: the early flame, the burn, the
// mixture, the charge and its residual vary, and every cycle starts with the
// residual that the one before left, unburned charge included.
//
// Cycles are solved directly, or read from a surface: an interpolation of
// directly solved cycles about the mean cycle of each operating point. How far
// the two are apart is measured by TestSurface and told in README.md.
//
// A random draw is a function of seed, cycle number and purpose. What a cycle
// hands on dies away within a few cycles, so a stream that is begun in the
// middle, Lead cycles early, soon is the one that was begun at 0.
package stream

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"math"
	"sync"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// Lead is how many cycles before the first one asked for a stream begins. A
// residual of 30 % dies away to 1e-8 on the way.
const Lead = 16

// Misfires and partial burns, by the share of the charge that burned. Our own
// choice: the trade draws these lines where it likes.
const (
	MisfireBelow = 0.2
	PartialBelow = 0.85
)

// fewest is for how many cycles an operating point must stay the same for a
// surface to be worth its nodes, of which about 200 are solved for one spark.
const fewest = 200

// mixStep is to what lambda of a cycle is rounded: each needs gas tables of its own.
const mixStep = 0.005

// Settings controls a Stream; nil or a zero field means the default.
type Settings struct {
	Seed    uint64
	Samples int     // in a cycle, a multiple of 8 from 360 to 7200; default UsualSamples
	Exact   bool    // solve every cycle directly
	Knobs   *Knobs  // nil: Usual for every operating point
	Scale   float64 // multiplies the knobs, see Knobs.Times; default 1
}

// Stream makes cycles of one engine along one schedule. Many goroutines may use
// it at once.
type Stream struct {
	engine   *model.Engine
	schedule Schedule
	set      Settings
	order    float64 // of the clocks
	solvers  sync.Pool

	mu     sync.Mutex
	points map[model.Operating]*point
}

// point is what is known of an operating point, without a draw.
type point struct {
	once    sync.Once
	err     error
	mean    solve.Carry // what its periodic cycle hands on
	base    Knobs       // before they are scaled
	knobs   Knobs
	mbtOnce sync.Once
	mbt     float64
	mbtErr  error
	surface surface
}

// UsualSamples is how many samples a cycle has unless told otherwise: one a degree.
func UsualSamples(s chamber.Strokes) int { return int(math.Round(s.Period() * 180 / math.Pi)) }

// New returns the stream of e along schedule. Errors are *model.Problem where a
// value is not allowed.
func New(e *model.Engine, schedule Schedule, set *Settings) (*Stream, error) {
	s := &Stream{engine: e, schedule: schedule, points: map[model.Operating]*point{}}
	if set != nil {
		s.set = *set
	}
	ch, err := e.Chamber()
	if err != nil {
		return nil, err
	}
	strokes := ch.Strokes()
	s.order = e.Chambers() * 2 * math.Pi / strokes.Period()
	if s.set.Samples == 0 {
		s.set.Samples = UsualSamples(strokes)
	}
	if s.set.Scale == 0 {
		s.set.Scale = 1
	}
	if n := s.set.Samples; n < 360 || n > 7200 || n%8 != 0 {
		return nil, &model.Problem{Key: "samples", Given: fmt.Sprint(n), Want: "a multiple of 8 from 360 to 7200"}
	}
	if !(s.set.Scale >= 0 && s.set.Scale <= 100) {
		return nil, fmt.Errorf("stream: Settings.Scale = %g, want 0 to 100", s.set.Scale)
	}
	if s.set.Knobs != nil {
		if err := s.set.Knobs.Check(); err != nil {
			return nil, err
		}
	}
	if err := schedule.Check(e); err != nil {
		return nil, err
	}
	d, err := s.direct() // before anybody waits for a cycle
	if err != nil {
		return nil, err
	}
	s.solvers.Put(d)
	return s, nil
}

// Samples is how many samples a cycle has.
func (s *Stream) Samples() int { return s.set.Samples }

// Engine is the engine that s runs.
func (s *Stream) Engine() *model.Engine { return s.engine }

// direct solves cycles.
type direct struct {
	solver *solve.Solver
	cycle  solve.Cycle

	// The mean cycle's prospect at the last spark asked for.
	of   *surface
	at   float64
	look solve.Prospect
}

func (s *Stream) direct() (*direct, error) {
	if d, ok := s.solvers.Get().(*direct); ok {
		return d, nil
	}
	c, err := s.engine.Chamber()
	if err != nil {
		return nil, err
	}
	set := solve.Settings{Step: c.Strokes().Period() / float64(s.set.Samples)}
	if !s.set.Exact {
		set.RelTol = 1e-7
	}
	solver, err := solve.New(s.engine, &set)
	return &direct{solver: solver}, err
}

// mean is the prospect of the mean cycle of f at op.
func (d *direct) mean(f *surface, op *model.Operating) (solve.Prospect, error) {
	if d.of != f || d.at != op.Spark {
		look, err := d.solver.Look(op, &f.mean, &solve.Steady)
		if err != nil {
			return look, err
		}
		d.of, d.at, d.look = f, op.Spark, look
	}
	return d.look, nil
}

// point returns what is known of op.
func (s *Stream) point(d *direct, op model.Operating) (*point, error) {
	s.mu.Lock()
	p := s.points[op]
	if p == nil {
		p = &point{}
		s.points[op] = p
	}
	s.mu.Unlock()
	p.once.Do(func() {
		if p.mean, p.err = d.solver.Settle(&op); p.err != nil {
			return
		}
		look, err := d.solver.Look(&op, &p.mean, &solve.Steady)
		if err != nil {
			p.err = err
			return
		}
		p.base = s.knobs(p, &op, look.Flame)
		p.knobs = p.base.Times(s.set.Scale)
		p.surface = surface{op: op, mean: p.mean, shape: shapeOf(s.engine, s.set.Samples, d.solver.Chamber()), nodes: map[place]*node{}}
	})
	return p, p.err
}

// knobs returns those of op before they are scaled, with a laminar flame speed of
// flame [m/s] at the spark.
func (s *Stream) knobs(p *point, op *model.Operating, flame float64) Knobs {
	if s.set.Knobs != nil {
		return *s.set.Knobs
	}
	_, _, residual := p.mean.Charge()
	return Usual(residual, flame, op.Speed, op.MAP)
}

// best returns MBT at op [rad]; NaN where there is none.
func (s *Stream) best(ctx context.Context, d *direct, op model.Operating) (float64, error) {
	op.Spark = s.schedule[0].Operating.Spark // MBT is the same whatever the spark
	p, err := s.point(d, op)
	if err != nil {
		return math.NaN(), err
	}
	p.mbtOnce.Do(func() {
		var at sweep.Point
		at, p.mbtErr = sweep.MBT(context.WithoutCancel(ctx), d.solver, op)
		p.mbt = at.Operating.Spark
		if errors.Is(p.mbtErr, sweep.ErrNoMBT) {
			p.mbt, p.mbtErr = math.NaN(), nil
		}
	})
	return p.mbt, p.mbtErr
}

// Knobs returns the knobs at every knot of the schedule.
func (s *Stream) Knobs() ([]Knobs, error) {
	d, err := s.direct()
	if err != nil {
		return nil, err
	}
	defer s.solvers.Put(d)
	var all []Knobs
	for i := range s.schedule {
		p, err := s.point(d, s.schedule[i].Operating)
		if err != nil {
			return nil, err
		}
		all = append(all, p.knobs)
	}
	return all, nil
}

// Cycles yields the cycles from first up to but without last, and Lead cycles
// before them, or as many as there are, with Warming set: those bring residual
// and instruments to life. A *Cycle is good until the next one. What cycle n is
// depends on seed, schedule, settings and first alone. Once ctx ends, the last
// pair carries ctx.Err().
func (s *Stream) Cycles(ctx context.Context, first, last int) iter.Seq2[*Cycle, error] {
	return s.run(ctx, max(0, first-Lead), first, last, chain{stream: s, seed: s.set.Seed})
}

// Steer has a hand on where the engine runs at cycle n: it may change Spark and
// Split, MAP and nothing else of op, which is what the schedule says. It is asked
// when the cycles before n have been yielded.
type Steer func(n int, op *model.Operating)

// Steered yields the cycles from 0 up to but without last of another seed, with a
// hand on them; nil: none. Streams steered at once share what they know of
// operating points, so a second seed costs less than a stream of its own. Truth.MBT
// is that of the schedule. Cycles whose split or MAP is not that of the schedule are
// solved directly.
func (s *Stream) Steered(ctx context.Context, seed uint64, last int, steer Steer) iter.Seq2[*Cycle, error] {
	return s.run(ctx, 0, 0, last, chain{stream: s, seed: seed, steer: steer})
}

// run yields the cycles of a chain that is not begun from begin on; those before
// first are warming.
func (s *Stream) run(ctx context.Context, begin, first, last int, fresh chain) iter.Seq2[*Cycle, error] {
	return func(yield func(*Cycle, error) bool) {
		c := fresh
		d, err := s.direct()
		if err != nil {
			yield(nil, err)
			return
		}
		defer s.solvers.Put(d)
		c.direct = d
		for n := begin; n < last; n++ {
			err := ctx.Err()
			if err == nil {
				err = c.next(ctx, n)
			}
			if err != nil {
				if ctx.Err() == nil {
					err = fmt.Errorf("stream: cycle %d: %w", n, err)
				}
				yield(nil, err)
				return
			}
			c.out.Warming = n < first
			if !yield(&c.out, nil) {
				return
			}
		}
	}
}
