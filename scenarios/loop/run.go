package loop

import (
	"context"
	"errors"
	"fmt"
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
	if b.stream, err = stream.New(s.Engine, s.schedule(), &stream.Settings{Samples: samples, Exact: s.Exact, Knobs: s.Knobs}); err != nil {
		return nil, err
	}
	ch, err := s.Engine.Chamber()
	if err != nil {
		return nil, err
	}
	for k := range samples {
		b.theta = append(b.theta, ch.Strokes().Start+ch.Strokes().Period()*float64(k)/samples)
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
	s := b.Scenario
	run := &Run{Scenario: s, Seed: seed, Steps: make([]Step, 0, s.Cycles)}
	if law == nil {
		var closing func() error
		var err error
		if law, closing, err = s.law(ctx, b.theta, run); err != nil {
			return nil, err
		}
		defer func() {
			if err := closing(); run.Failure == nil {
				run.Failure = err
			}
		}()
	}
	law.Reset()
	eyes, err := newEyes(s, seed)
	if err != nil {
		return nil, err
	}
	if s.Sensing.Knock {
		if eyes.ear.usual, err = b.listen(ctx); err != nil {
			return nil, err
		}
	}
	guard, err := control.NewGuard(s.Guard, b.Envelope)
	if err != nil {
		return nil, err
	}
	start := control.Order{Leading: s.Legs[0].Operating.Spark, Trailing: math.NaN()}
	if s.Actuator.Apart {
		start.Trailing = start.Leading - s.Legs[0].Operating.Split
	}
	orders := slices.Repeat([]control.Order{start}, s.Actuator.Delay)
	now := throttle{mapPa: math.NaN()}
	var leg Leg
	var fired control.Order
	steer := func(n int, op *model.Operating) {
		leg = s.leg(n)
		now.move(&leg, op, run.Steps)
		fired = s.Actuator.fire(orders[0], op.Speed, b.theta[0], op.Split, leg.Manual, leg.ManualTrailing)
		op.Spark = fired.Leading
		if !math.IsNaN(fired.Trailing) {
			op.Split = fired.Leading - fired.Trailing
		}
	}
	mbt, stop := b.companion(ctx, seed)
	defer stop()
	seen := control.Seen{Ordered: start}
	for c, err := range b.stream.Steered(ctx, seed, s.Cycles, steer) {
		if err != nil {
			return nil, err
		}
		torque, err := mbt(c)
		if err != nil {
			return nil, err
		}
		if !math.IsNaN(leg.HoldTorque) {
			torque = math.NaN()
		}
		seen.Cycle, seen.Speed, seen.MAP = c.Number, c.Clock.Speed, c.Operating.MAP
		seen.Time += (c.Theta[1] - c.Theta[0]) * float64(len(c.Theta)) / c.Clock.Speed
		seen.Base, seen.Target, seen.Fired = b.Base.At(seen.Speed, seen.MAP), leg.Target, fired
		if err := eyes.look(c, &seen); err != nil {
			return nil, err
		}
		want := law.Next(&seen)
		d := guard.Decide(&seen, want)
		d.Order = s.Actuator.accept(d.Order, leg.Manual)
		step := Step{
			Cycle: c.Number, Time: seen.Time, Speed: seen.Speed, MAP: seen.MAP, Target: seen.Target, Manual: leg.Manual, Base: seen.Base,
			Fired: fired, Single: seen.Single, Reading: seen.Reading, Knock: seen.Knock, Gauge: seen.Peak, Torque: seen.Torque, Airflow: seen.Airflow,
			Want: want, Ordered: d.Order, State: d.State, Why: d.Why, Driving: control.Driving(law), Advice: control.Advice{Off: math.NaN()}, Safe: control.Range{From: math.NaN(), To: math.NaN()},
			Truth: c.Truth, TorqueMBT: torque,
		}
		if a, ok := law.(control.Adviser); ok {
			step.Advice = a.Advice()
		}
		if b.Envelope != nil {
			step.Safe = b.Envelope.At(seen.Speed, seen.MAP)
		}
		run.Steps = append(run.Steps, step)
		seen.Ordered = d.Order
		copy(orders, orders[1:])
		orders[len(orders)-1] = d.Order
	}
	return run, ctx.Err()
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
