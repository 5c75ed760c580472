package loop

import (
	"context"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/stream"
)

// Outcome is what one scenario came to with every seed.
type Outcome struct {
	Scenario *Scenario
	Seeds    []uint64
	Verdicts []Verdict // by seed
	Failures []error   // by seed, see Run.Failure; nil: none
	Pass     bool

	// Why lists what it does not pass for, with any seed: a runaway; cycles over a
	// ceiling, where there is one; cycles driven out of the range where the reader can be
	// believed; an outside law that was given up. It is empty if Pass.
	Why []string
}

// RunBattery runs every scenario with every seed, up to workers at once, and returns the
// outcomes in order of scenarios. Results do not depend on workers, as long as outside
// laws answer alike every time. Where the reader can be believed is found for all
// scenarios, whether their guards ask or not, so that driven-out cycles are known.
// Neighbours with the same Engine, Knobs and Base.Table pointers share what it costs
// to make them ready. progress may be nil; it is called with the runs done, one call
// at a time.
//
// The error is the first of any run, or that of ctx.
func RunBattery(ctx context.Context, scenarios []Scenario, seeds []uint64, workers int, progress func(done, total int)) ([]Outcome, error) {
	b := benches{believed: true}
	return b.runAll(ctx, scenarios, seeds, workers, progress)
}

// runAll runs every scenario with every seed.
func (b *benches) runAll(ctx context.Context, scenarios []Scenario, seeds []uint64, workers int, progress func(done, total int)) ([]Outcome, error) {
	all := make([]Outcome, len(scenarios))
	for i := range all {
		all[i] = Outcome{Scenario: &scenarios[i], Seeds: slices.Clone(seeds), Verdicts: make([]Verdict, len(seeds)), Failures: make([]error, len(seeds))}
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	count := len(scenarios) * len(seeds)
	for i := range scenarios {
		b.expect(ctx, &scenarios[i], len(seeds))
	}
	var wait sync.WaitGroup
	var next atomic.Int64
	var tell sync.Mutex
	done := 0
	for range max(1, min(workers, count)) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < count && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				o, k := &all[i/len(seeds)], i%len(seeds)
				run, err := b.run(ctx, o.Scenario, seeds[k])
				if err != nil {
					stop(fmt.Errorf("%s, seed %d: %w", o.Scenario.Name, seeds[k], err))
					return
				}
				o.Verdicts[k], o.Failures[k] = run.Verdict(), run.Failure
				tell.Lock()
				if done++; progress != nil {
					progress(done, count)
				}
				tell.Unlock()
			}
		})
	}
	wait.Wait()
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	for i := range all {
		all[i].judge()
	}
	return all, nil
}

// Judge returns what runs of s came to.
func Judge(s *Scenario, runs []*Run) Outcome {
	o := Outcome{Scenario: s}
	for _, r := range runs {
		o.Seeds, o.Verdicts, o.Failures = append(o.Seeds, r.Seed), append(o.Verdicts, r.Verdict()), append(o.Failures, r.Failure)
	}
	o.judge()
	return o
}

// judge fills in Pass and Why.
func (o *Outcome) judge() {
	for _, x := range []struct {
		what string
		of   func(k int) int
	}{
		{"ran away", func(k int) int { return int(flag(o.Verdicts[k].Runaway)) }},
		{"went over the ceiling of peak pressure", func(k int) int { return o.Verdicts[k].OverPeak }},
		{"went over the ceiling of knock", func(k int) int { return o.Verdicts[k].OverKnock }},
		{"was driven out of the believed range", func(k int) int { return o.Verdicts[k].DrivenOut }},
		{"lost its outside law", func(k int) int { return int(flag(o.Failures[k] != nil)) }},
	} {
		runs, cycles, first := 0, 0, 0
		for k := range o.Verdicts {
			if n := x.of(k); n > 0 {
				if runs++; runs == 1 {
					first = k
				}
				cycles += n
			}
		}
		if runs == 0 {
			continue
		}
		why := fmt.Sprintf("%s in %d of %d runs, first with seed %d", x.what, runs, len(o.Verdicts), o.Seeds[first])
		if cycles > runs {
			why += fmt.Sprintf("; %d cycles in all", cycles)
		}
		o.Why = append(o.Why, why)
	}
	o.Pass = len(o.Why) == 0
}

// benches makes scenarios ready, and keeps what several of them share. Many goroutines
// may use it at once.
type benches struct {
	believed bool // find where the reader can be believed even if the guard does not ask
	nodes    nodes
	mu       sync.Mutex
	all      []*shared
}

// shared is a bench for all scenarios with the same engine, schedule and base map.
type shared struct {
	engine   *model.Engine
	knobs    *stream.Knobs
	exact    bool
	base     Base
	schedule stream.Schedule
	left     int                    // runs that are still expected
	make     func() (*Bench, error) // nil after the last of them
}

// share returns what s shares, ready to be made. b.mu is held.
func (b *benches) share(ctx context.Context, s *Scenario) *shared {
	schedule := s.schedule()
	k := slices.IndexFunc(b.all, func(x *shared) bool {
		return x.engine == s.Engine && x.knobs == s.Knobs && x.exact == s.Exact && x.base == s.Base && slices.Equal(x.schedule, schedule)
	})
	if k < 0 {
		k = len(b.all)
		b.all = append(b.all, &shared{engine: s.Engine, knobs: s.Knobs, exact: s.Exact, base: s.Base, schedule: schedule})
	}
	x := b.all[k]
	if x.make == nil {
		plain := *s
		plain.Guard = control.GuardSettings{} // the envelope is not shared
		x.make = sync.OnceValues(func() (*Bench, error) { return NewBench(ctx, &plain) })
	}
	return x
}

// expect tells b that s will run so many times: what it shares is let go after the
// last. Without, it is kept.
func (b *benches) expect(ctx context.Context, s *Scenario, runs int) {
	if s.Check() != nil { // its first run tells
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.share(ctx, s).left += runs
}

// bench makes s ready; ctx is that of everybody who uses b.
func (b *benches) bench(ctx context.Context, s *Scenario) (*Bench, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	b.mu.Lock()
	ready := b.share(ctx, s).make
	b.mu.Unlock()
	made, err := ready()
	if err != nil {
		return nil, err
	}
	out := *made
	out.Scenario = s
	if b.believed || s.Guard.Envelope {
		if out.Envelope, err = b.nodes.envelope(ctx, s); err != nil {
			return nil, err
		}
	}
	return &out, nil
}

// run runs s with seed.
func (b *benches) run(ctx context.Context, s *Scenario, seed uint64) (*Run, error) {
	bench, err := b.bench(ctx, s)
	if err != nil {
		return nil, err
	}
	run, err := bench.Run(ctx, seed, nil)
	b.mu.Lock()
	defer b.mu.Unlock()
	if x := b.share(ctx, s); x.left > 0 {
		if x.left--; x.left == 0 {
			x.make = nil
		}
	}
	return run, err
}
