package page

import (
	"context"
	"slices"
	"sync"

	"phasebench/model"
	"phasebench/scenarios/loop"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
)

// benchKey is what preparing a loop depends on.
type benchKey struct {
	engineKey
	op       model.Operating
	signal   reader.Signal
	reader   string
	pressure bool
	target   float64
	envelope bool
}

// loopBench is a bench, made when it is first needed.
type loopBench struct {
	turns turns // one makes it, the others wait
	b     *loop.Bench
}

// prepare returns the bench of a.
func (p *Page) prepare(ctx context.Context, a *asked) (*loop.Bench, error) {
	k := p.benches.of(a.key, func() *loopBench { return &loopBench{turns: newTurns(1, mostWaiting)} })
	end, err := k.turns.take(ctx)
	if err != nil {
		return nil, err
	}
	defer end()
	if k.b == nil {
		k.b, err = loop.NewBench(ctx, a.scenario)
	}
	return k.b, err
}

// liveRun is a run that stands still where it is.
type liveRun struct {
	asked *asked
	live  *loop.Live
	done  int // cycles

	hand, trailing float64 // as they are now [rad]
	faults         []sensor.Fault
}

// lives keeps runs, the latest last.
type lives struct {
	mu  sync.Mutex
	all []*liveRun
}

// take takes a run out of the keep that is a's so far.
func (l *lives) take(a *asked) *liveRun {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i, r := range slices.Backward(l.all) {
		if r.goesOn(a) {
			l.all = slices.Delete(l.all, i, i+1)
			return r
		}
	}
	return nil
}

// put keeps r, and ends the oldest if there are too many.
func (l *lives) put(r *liveRun) {
	l.mu.Lock()
	l.all = append(l.all, r)
	var old *liveRun
	if len(l.all) > mostLives {
		old, l.all = l.all[0], slices.Delete(l.all, 0, 1)
	}
	l.mu.Unlock()
	if old != nil {
		_ = old.live.Close() // no law of it can fail
	}
}

// end ends all.
func (l *lives) end() {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, r := range l.all {
		_ = r.live.Close()
	}
	l.all = nil
}

// goesOn tells whether a is what r is, until where r stands.
func (r *liveRun) goesOn(a *asked) bool {
	b := r.asked
	return a.key == b.key && a.law == b.law && a.guard == b.guard && a.seed == b.seed &&
		slices.Equal(before(a.hand, r.done), before(b.hand, r.done)) && slices.Equal(before(a.trailing, r.done), before(b.trailing, r.done)) &&
		slices.Equal(past(a.faults, r.done), past(b.faults, r.done))
}

// past are the faults as they were before cycle n.
func past(all []sensor.Fault, n int) (out []sensor.Fault) {
	for _, f := range all {
		if f.From >= n {
			continue
		}
		if f.To >= n {
			f.To = -1
		}
		out = append(out, f)
	}
	return out
}

// active are the faults that there are in cycle n.
func active(all []sensor.Fault, n int) (out []sensor.Fault) {
	for _, f := range all {
		if f.From <= n && (f.To < 0 || n < f.To) {
			f.From, f.To = 0, -1
			out = append(out, f)
		}
	}
	return out
}

// next runs one cycle, with hand and faults as they are asked for in it.
func (r *liveRun) next() error {
	n, a := r.done, r.asked
	if hand, trailing := handAt(a.hand, n), handAt(a.trailing, n); hand != r.hand || trailing != r.trailing {
		if err := r.live.Hand(hand, trailing); err != nil {
			return err
		}
		r.hand, r.trailing = hand, trailing
	}
	if now := active(a.faults, n); !slices.Equal(now, r.faults) {
		if err := r.live.Faults(now); err != nil {
			return err
		}
		r.faults = now
	}
	if _, err := r.live.Next(); err != nil {
		return err
	}
	r.done++
	return nil
}

// run returns the run of q, carried on until its cycle to; it must be put back.
func (p *Page) run(ctx context.Context, q *query) (*liveRun, error) {
	a, err := q.asks()
	if err != nil {
		return nil, err
	}
	to := q.whole("to")
	r := p.lives.take(a)
	if r == nil {
		b, err := p.prepare(ctx, a)
		if err != nil {
			return nil, err
		}
		a.scenario.Engine = b.Scenario.Engine
		if b, err = b.With(a.scenario); err != nil {
			return nil, err
		}
		live, err := b.Start(context.WithoutCancel(ctx), a.seed, nil)
		if err != nil {
			return nil, err
		}
		r = &liveRun{live: live}
	}
	r.asked = a
	for err == nil && r.done < to {
		if err = ctx.Err(); err == nil {
			err = r.next()
		}
	}
	switch {
	case err == nil:
		return r, nil
	case ctx.Err() != nil: // the client has gone; the run can go on
		p.lives.put(r)
	default:
		_ = r.live.Close()
	}
	return nil, err
}

// sofar is what happened until cycle to.
func (r *liveRun) sofar(to int) *loop.Run {
	run := r.live.Run()
	s := *run.Scenario
	k := 1
	for k < len(s.Legs) && s.Legs[k].Cycle < to {
		k++
	}
	s.Legs, s.Cycles = s.Legs[:k], to
	run.Scenario, run.Steps = &s, run.Steps[:to]
	return run
}
