package loop

import (
	"context"
	"errors"
	"io"
	"iter"
	"math"
	"slices"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// Live is a run that goes on one cycle at a time; between cycles the hand at the
// distributor and the faults may be moved. What was moved is written into the scenario
// of Run: with that one Bench.Run makes the same run again, to the last bit.
//
// It serves one goroutine at a time, and must be closed.
type Live struct {
	bench   *Bench
	run     *Run
	law     control.Law
	closing func() error // of the law
	eyes    *eyes
	guard   *control.Guard

	next   func() (*stream.Cycle, error, bool)
	torque func(*stream.Cycle) (float64, error) // see Bench.companion
	stops  []func()                             // of streams
	err    error                                // what Next says from now on
	closed bool

	orders []control.Order // on their way to the coil, the next first
	now    throttle
	leg    Leg           // of the cycle at hand
	fired  control.Order // in it
	seen   control.Seen
}

// liveRoom is for how many steps there is room at first: few runs are longer. Our own
// choice.
const liveRoom = 10_000

var errClosed = errors.New("loop: the run is closed")

// Start begins a run of b's scenario with seed. law takes the place of the scenario's
// law unless it is nil. Once ctx ends, Next returns its error.
func (b *Bench) Start(ctx context.Context, seed uint64, law control.Law) (*Live, error) {
	s := b.Scenario
	l := &Live{bench: b, law: law, closing: func() error { return nil }, now: throttle{mapPa: math.NaN()}}
	l.run = &Run{Scenario: s, Seed: seed, Steps: make([]Step, 0, min(s.Cycles, liveRoom))}
	if law == nil {
		var err error
		if l.law, l.closing, err = s.law(ctx, b.theta, l.run); err != nil {
			return nil, err
		}
	}
	if err := l.begin(ctx); err != nil {
		return nil, errors.Join(err, l.Close())
	}
	return l, nil
}

// begin makes l ready for its first cycle; its law is there.
func (l *Live) begin(ctx context.Context) error {
	b, s, seed := l.bench, l.run.Scenario, l.run.Seed
	l.law.Reset()
	var err error
	if l.eyes, err = newEyes(s, seed); err != nil {
		return err
	}
	if s.Sensing.Knock {
		if l.eyes.ear.usual, err = b.listen(ctx); err != nil {
			return err
		}
	}
	if l.guard, err = control.NewGuard(s.Guard, b.Envelope); err != nil {
		return err
	}
	start := control.Order{Leading: s.Legs[0].Operating.Spark, Trailing: math.NaN()}
	if s.Actuator.Apart {
		start.Trailing = start.Leading - s.Legs[0].Operating.Split
	}
	l.orders = slices.Repeat([]control.Order{start}, s.Actuator.Delay)
	l.seen.Ordered = start
	var stop, stopTwin func()
	l.next, stop = iter.Pull2(b.stream.Steered(ctx, seed, s.Cycles, l.steer))
	l.torque, stopTwin = b.companion(ctx, seed)
	l.stops = []func(){stop, stopTwin}
	return nil
}

// steer is the stream.Steer of l.
func (l *Live) steer(n int, op *model.Operating) {
	s := l.run.Scenario
	l.leg = s.leg(n)
	l.now.move(&l.leg, op, l.run.Steps)
	l.fired = s.Actuator.fire(l.orders[0], op.Speed, l.bench.theta[0], op.Split, l.leg.Manual, l.leg.ManualTrailing)
	op.Spark = l.fired.Leading
	if !math.IsNaN(l.fired.Trailing) {
		op.Split = l.fired.Leading - l.fired.Trailing
	}
}

// Next runs one cycle. The *Step stays as it is: it is not to be changed. After the
// last cycle of the scenario the error is io.EOF. An error ends the run.
func (l *Live) Next() (*Step, error) {
	if l.err != nil {
		return nil, l.err
	}
	if l.err = l.step(); l.err != nil {
		return nil, l.err
	}
	return &l.run.Steps[len(l.run.Steps)-1], nil
}

// step appends the next step to the run.
func (l *Live) step() error {
	c, err, ok := l.next()
	if !ok {
		return io.EOF
	}
	if err != nil {
		return err
	}
	torque, err := l.torque(c)
	if err != nil {
		return err
	}
	if !math.IsNaN(l.leg.HoldTorque) {
		torque = math.NaN()
	}
	b, seen := l.bench, &l.seen
	seen.Cycle, seen.Speed, seen.MAP = c.Number, c.Clock.Speed, c.Operating.MAP
	seen.Time += (c.Theta[1] - c.Theta[0]) * float64(len(c.Theta)) / c.Clock.Speed
	seen.Base, seen.Target, seen.Fired = b.Base.At(seen.Speed, seen.MAP), l.leg.Target, l.fired
	if err := l.eyes.look(c, seen); err != nil {
		return err
	}
	want := l.law.Next(seen)
	d := l.guard.Decide(seen, want)
	d.Order = b.Scenario.Actuator.accept(d.Order, l.leg.Manual)
	step := Step{
		Cycle: c.Number, Time: seen.Time, Speed: seen.Speed, MAP: seen.MAP, Target: seen.Target, Manual: l.leg.Manual, Base: seen.Base,
		Fired: l.fired, Single: seen.Single, Reading: seen.Reading, Knock: seen.Knock, Gauge: seen.Peak, Torque: seen.Torque, Airflow: seen.Airflow,
		Want: want, Ordered: d.Order, State: d.State, Why: d.Why, Driving: control.Driving(l.law), Advice: control.Advice{Off: math.NaN()}, Safe: control.Range{From: math.NaN(), To: math.NaN()},
		Truth: c.Truth, TorqueMBT: torque,
	}
	if a, ok := l.law.(control.Adviser); ok {
		step.Advice = a.Advice()
	}
	if b.Envelope != nil {
		step.Safe = b.Envelope.At(seen.Speed, seen.MAP)
	}
	l.run.Steps = append(l.run.Steps, step)
	seen.Ordered = d.Order
	copy(l.orders, l.orders[1:])
	l.orders[len(l.orders)-1] = d.Order
	return nil
}

// Hand puts a hand at the distributor from the next cycle on: both plugs fire manual
// earlier than ordered, and the trailing plug trailing more [rad], as Leg.Manual and
// Leg.ManualTrailing. There it stays, whatever offsets later legs of the scenario had.
//
// Errors are those of Scenario.Check about the scenario that this makes, and change
// nothing. One is that the hand cannot move while a leg is on its way, Leg.Over, up to
// the cycle in which it is reached.
func (l *Live) Hand(manual, trailing float64) error {
	s := l.run.Scenario.handed(len(l.run.Steps), manual, trailing)
	if err := s.Check(); err != nil {
		return err
	}
	l.run.Scenario = s
	return nil
}

// Faults says which faults there are from the next cycle on, those of the scenario among
// them: what is not in all ends or never begins. From and To in all do not count. One
// that is there already, with the same name and severity, goes on and keeps its age.
//
// Errors are a *model.Problem and change nothing.
func (l *Live) Faults(all []sensor.Fault) error {
	s := l.run.Scenario.faulted(len(l.run.Steps), all)
	if err := l.eyes.rig.SetFaults(s.Sensing.Faults); err != nil {
		return err
	}
	l.run.Scenario = s
	return nil
}

// Run returns what has happened until now, with the scenario as it was moved. It stays
// as it is while l goes on, and any goroutine may read it; l and other runs share its
// steps, so they are not to be changed. Failure is known once l is closed.
func (l *Live) Run() *Run {
	run := *l.run
	run.Steps = slices.Clip(run.Steps)
	return &run
}

// Close ends the run, and what its law and streams hold. The error is the Failure of
// the run, see there; closed again, l says the same.
func (l *Live) Close() error {
	if l.closed {
		return l.run.Failure
	}
	l.closed = true
	if l.err == nil {
		l.err = errClosed
	}
	for _, stop := range l.stops {
		stop()
	}
	l.run.Failure = l.closing()
	return l.run.Failure
}

// handed returns s with a hand at the distributor from cycle at on, to the end: a leg
// that is else like the one there, or that one if it begins there at once. s stays as
// it is.
func (s *Scenario) handed(at int, manual, trailing float64) *Scenario {
	out := *s
	out.Legs = slices.Clone(s.Legs)
	k := 0
	for k+1 < len(out.Legs) && out.Legs[k+1].Cycle <= at {
		k++
	}
	l, now := out.Legs[k], s.leg(at)
	stays := l.Manual == manual && l.ManualTrailing == trailing && now.Manual == manual && now.ManualTrailing == trailing
	if !stays && (l.Cycle < at || l.Over > 0) {
		k++
		l.Cycle, l.Over = at, 0
		out.Legs = slices.Insert(out.Legs, k, l)
	}
	for ; k < len(out.Legs); k++ {
		out.Legs[k].Manual, out.Legs[k].ManualTrailing = manual, trailing
	}
	return &out
}

// faulted returns s with the faults of all, and no others, from cycle at on. Those of s
// that are over by then stay in the list, and those that go on stay in their place. s
// stays as it is.
func (s *Scenario) faulted(at int, all []sensor.Fault) *Scenario {
	out := *s
	out.Sensing.Faults = nil
	all = slices.Clone(all)
	for _, f := range s.Sensing.Faults {
		if f.To < 0 || f.To > at { // it is there, or to come
			k := slices.IndexFunc(all, func(x sensor.Fault) bool { return x.Name == f.Name && x.Severity == f.Severity })
			switch goes := k >= 0 && f.From <= at; {
			case goes:
				f.To = -1
				all = slices.Delete(all, k, k+1)
			case f.From >= at: // it never was
				continue
			default:
				f.To = at
			}
		}
		out.Sensing.Faults = append(out.Sensing.Faults, f)
	}
	for _, f := range all {
		f.From, f.To = at, -1
		out.Sensing.Faults = append(out.Sensing.Faults, f)
	}
	return &out
}
