package loop

import (
	"context"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"sync"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/stream"
)

// Bench is a scenario made ready: what it costs is paid once, for any number of
// runs. Many goroutines may use it at once.
type Bench struct {
	Scenario *Scenario
	Base     *control.Table
	Envelope control.Envelope // where the reader is believed; nil: nobody asked

	stream *stream.Stream
	theta  []float64 // angles of the samples [rad]
	calm   *calm
}

// Step is one cycle of a run: what was asked, seen, ordered and fired, and what was
// true. A number that is not there is NaN.
type Step struct {
	Cycle   int
	Time    float64 // from the start of the run to the end of the cycle [s]
	Speed   float64 // [rad/s]
	MAP     float64 // [Pa]
	Target  float64 // [rad]
	Manual  float64 // [rad]
	Base    float64 // [rad]
	Fired   control.Order
	Single  reader.Reading
	Reading reader.Reading // what the law went by
	Knock   float64        // heard, over the usual
	Gauge   float64        // peak pressure by the transducer [Pa]
	Torque  float64        // by the dynamometer [N·m]
	Airflow float64        // by the air meter [kg/s]

	Want    control.Order // for the cycles to come, by the law [rad]
	Ordered control.Order // as the guard let it pass [rad]
	State   control.State
	Why     string
	Driving string         // which law of two drives, see control.Driving; "": there is one
	Advice  control.Advice // Off is NaN without
	Safe    control.Range  // where the reader can be believed [rad]

	Truth     stream.Truth
	TorqueMBT float64 // of the same cycle fired at MBT [N·m]; NaN where the throttle moves or there is no MBT
}

// Run is what came of a scenario with one seed.
type Run struct {
	Scenario *Scenario
	Seed     uint64
	Steps    []Step
	Failure  error  // of an outside law that was given up; the run went on without it
	Told     string // what an outside law calls itself
}

// NewBench makes s ready. Errors are a *model.Problem where a value is not allowed.
func NewBench(ctx context.Context, s *Scenario) (*Bench, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	b := &Bench{Scenario: s, calm: &calm{}}
	var err error
	if b.stream, err = stream.New(s.Engine, s.schedule(), &stream.Settings{Exact: s.Exact, Knobs: s.Knobs}); err != nil {
		return nil, err
	}
	ch, err := s.Engine.Chamber()
	if err != nil {
		return nil, err
	}
	n := stream.UsualSamples(ch.Strokes())
	for k := range n {
		b.theta = append(b.theta, ch.Strokes().Start+ch.Strokes().Period()*float64(k)/float64(n))
	}
	if _, err := newEyes(s, 0); err != nil {
		return nil, err
	}
	var wait sync.WaitGroup
	var baseErr, envelopeErr error
	if b.Base = s.Base.Table; b.Base == nil {
		wait.Go(func() { b.Base, baseErr = s.baseMap(ctx) })
	}
	if s.Guard.Envelope {
		wait.Go(func() { b.Envelope, envelopeErr = s.envelope(ctx) })
	}
	wait.Wait()
	if err := errors.Join(baseErr, envelopeErr); err != nil {
		return nil, err
	}
	return b, nil
}

// Stream is the engine that b runs.
func (b *Bench) Stream() *stream.Stream { return b.stream }

// With returns a bench for s that shares all that made b ready: the stream, the base
// table, and the envelope if the guard of s asks for one. It costs next to nothing, and
// its runs are those of NewBench(s).
//
// What is shared must fit, else a *model.Problem names what does not: Engine and
// Base.Table (the same pointers), Base.Retard, Exact, Knobs, where the engine runs from
// cycle to cycle, and the spark that the loop begins with, which the base table has
// where there is no MBT. For an envelope, which b must have been made with, also the
// target of the first leg and, of Sensing, Signal, Reader, Settings and Pressure. All
// else may differ.
func (b *Bench) With(s *Scenario) (*Bench, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if err := b.fits(s); err != nil {
		return nil, err
	}
	if _, err := newEyes(s, 0); err != nil {
		return nil, err
	}
	out := *b
	out.Scenario = s
	if !s.Guard.Envelope {
		out.Envelope = nil
	}
	if s.Actuator.Least != b.Scenario.Actuator.Least { // the engine is listened to at another spark
		out.calm = &calm{}
	}
	return &out, nil
}

// fits returns a *model.Problem about what b does not share with s, or nil.
func (b *Bench) fits(s *Scenario) error {
	o := b.Scenario
	first, begins := &s.Legs[0], &o.Legs[0]
	switch {
	case s.Engine != o.Engine:
		return bad("engine", s.Engine.Name, "the engine of the bench itself: "+o.Engine.Name)
	case s.Exact != o.Exact:
		return bad("exact", s.Exact, "as the bench was made")
	case !alike(s.Knobs, o.Knobs):
		return bad("knobs", "others", "those of the bench: cycles that differ as far")
	case s.Base != o.Base:
		return bad("base", "another", "the base map of the bench")
	case !slices.Equal(s.schedule(), o.schedule()):
		return bad("at", "other operating points", "those of the bench, at the same cycles")
	case first.Operating.Spark != begins.Operating.Spark:
		return bad("at[0]."+sparkKey, first.Operating.Spark/deg, fmt.Sprintf("%.6g, as the bench was made", begins.Operating.Spark/deg))
	case !s.Guard.Envelope:
		return nil
	case b.Envelope == nil:
		return bad("guard.envelope", true, "false: the bench was made without one")
	case first.Target != begins.Target:
		return bad("at[0].target_deg_atdc", first.Target/deg, fmt.Sprintf("%.6g, which the envelope was found for", begins.Target/deg))
	case s.Sensing.Signal != o.Sensing.Signal || s.Sensing.Reader != o.Sensing.Reader || !alike(s.Sensing.Settings, o.Sensing.Settings) || s.Sensing.Pressure != o.Sensing.Pressure:
		return bad("reader", s.Sensing.String(), "the reader that the envelope was found for, its settings and transducer")
	}
	return nil
}

// alike tells whether a and b are the same or equal.
func alike[T comparable](a, b *T) bool { return a == b || (a != nil && b != nil && *a == *b) }

// throttle is the governor that holds torque.
type throttle struct{ mapPa float64 } // NaN: the throttle stays

// Bounds of the throttle's manifold pressure [Pa], and the share of the error that
// the governor takes away in a cycle, slow enough for the dynamometer's lag. Our own choice.
const (
	leastMAP      = 15e3
	mostMAP       = 101e3
	governorShare = 0.02
)

// Run carries out b's scenario with seed. law takes the place of the scenario's law
// unless it is nil.
func (b *Bench) Run(ctx context.Context, seed uint64, law control.Law) (*Run, error) {
	l, err := b.Start(ctx, seed, law)
	if err != nil {
		return nil, err
	}
	defer l.Close() // its error is the Failure of the run
	for {
		switch _, err := l.Next(); {
		case err == io.EOF:
			return l.run, ctx.Err()
		case err != nil:
			return nil, err
		}
	}
}

// move sets op.MAP where a leg asks for a torque.
func (t *throttle) move(leg *Leg, op *model.Operating, steps []Step) {
	if math.IsNaN(leg.HoldTorque) {
		t.mapPa = math.NaN()
		return
	}
	if math.IsNaN(t.mapPa) {
		t.mapPa = op.MAP
	}
	if n := len(steps); n > 0 {
		// A cycle's work is about proportional to manifold pressure.
		t.mapPa += governorShare * t.mapPa * (leg.HoldTorque - steps[n-1].Torque) / leg.HoldTorque
	}
	t.mapPa = math.Max(leastMAP, math.Min(mostMAP, t.mapPa))
	op.MAP = t.mapPa
}

// companion runs the same cycles fired at MBT alongside: what it returns gives the
// torque of the one that is c's twin [N·m], NaN without MBT.
func (b *Bench) companion(ctx context.Context, seed uint64) (torque func(c *stream.Cycle) (float64, error), stop func()) {
	at := math.NaN()
	next, stop := iter.Pull2(b.stream.Steered(ctx, seed, b.Scenario.Cycles, func(n int, op *model.Operating) {
		if !math.IsNaN(at) {
			op.Spark = at
		}
	}))
	return func(c *stream.Cycle) (float64, error) {
		at = c.MBT // known before the twin of c is made
		twin, err, ok := next()
		switch {
		case !ok:
			return math.NaN(), errors.New("loop: the twin at MBT ended early")
		case err != nil:
			return math.NaN(), fmt.Errorf("fired at MBT: %w", err)
		case math.IsNaN(at):
			return math.NaN(), nil
		}
		return twin.Torque, nil
	}, stop
}
