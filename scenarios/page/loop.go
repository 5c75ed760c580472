package page

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/loop"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sensor"
)

// Of loops. Our own choice.
const (
	loopCycles  = 3000 // of every run
	mostStride  = 600  // cycles of one answer
	mostMoves   = 100  // of the hand
	mostBenches = 6    // kept, each with a surface of some megabytes
	mostLives   = 8    // runs kept where they are, so that they can go on
)

// loopTakes is what a loop depends on: how it sees, which law moves the spark and what
// guards it, where the hand at the distributor went, CYCLE:DEG,CYCLE:DEG, and which
// cycles are asked for.
var loopTakes = takes{
	numbers: []number{seed, {"target_deg", -20, 45, 15, false}, {"guard", 0, 1, 1, true}, {"envelope", 0, 1, 1, true},
		{"from", 0, loopCycles, 0, true}, {"to", 0, loopCycles, 0, true}},
	words: append(slices.Clip(seeing.words), word{"law", func(*query) []string { return loopLaws() }}),
	lists: append(slices.Clip(seeing.lists), "hand", "hand_trailing"),
}

// loopLaws are the laws that need nothing but what is read, or a transducer.
func loopLaws() (all []string) {
	for _, k := range control.Kinds() {
		if !slices.Contains(k.Needs, control.NeedKnock) && !slices.Contains(k.Needs, control.NeedAirflow) {
			all = append(all, k.Name)
		}
	}
	return all
}

// move is where a hand is from a cycle on [rad].
type move struct {
	cycle int
	to    float64
}

// moves reads a list of q. Errors are a *model.Problem.
func (q *query) moves(key string) (all []move, err error) {
	given := q.words[key]
	if given == "" {
		return nil, nil
	}
	bad := &model.Problem{Key: key, Given: given, Want: "CYCLE:DEG,CYCLE:DEG with cycles that ascend below 3000 and -90 to 90 deg, 100 or fewer"}
	parts := strings.Split(given, ",")
	if len(parts) > mostMoves {
		return nil, bad
	}
	for _, part := range parts {
		cycle, angle, ok := strings.Cut(part, ":")
		n, err := strconv.Atoi(cycle)
		x, err2 := strconv.ParseFloat(angle, 64)
		if !ok || errors.Join(err, err2) != nil || !(n >= 0 && n < loopCycles && x >= -90 && x <= 90) || (len(all) > 0 && n <= all[len(all)-1].cycle) {
			return nil, bad
		}
		all = append(all, move{n, x * deg})
	}
	return all, nil
}

// handAt is where the hand is at cycle n.
func handAt(all []move, n int) float64 {
	to := 0.
	for _, m := range all {
		if m.cycle <= n {
			to = m.to
		}
	}
	return to
}

// before are the moves before cycle n.
func before(all []move, n int) []move {
	k := 0
	for k < len(all) && all[k].cycle < n {
		k++
	}
	return all[:k]
}

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

// asked is a run that a query asks for.
type asked struct {
	key            benchKey
	law            string
	guard          bool
	seed           uint64
	hand, trailing []move
	faults         []sensor.Fault
	scenario       *loop.Scenario // without hand and faults
}

// asks reads q. Errors are a *model.Problem.
func (q *query) asks() (*asked, error) {
	a := &asked{law: q.words["law"], guard: q.numbers["guard"] == 1, seed: uint64(q.whole("seed"))}
	var err [3]error
	a.hand, err[0] = q.moves("hand")
	a.trailing, err[1] = q.moves("hand_trailing")
	a.faults, err[2] = q.faults()
	if err := errors.Join(err[:]...); err != nil {
		return nil, err
	}
	engine, fail := model.Load(q.engine.Name) // as it is, for the file of the scenario
	if fail != nil {
		return nil, fail
	}
	engine.Geometry.Ratio = q.engine.Geometry.Ratio
	s := loop.Usual(engine)
	s.Name, s.Cycles = "page", loopCycles
	spark := s.Legs[0].Operating.Spark
	s.Legs[0].Operating, s.Legs[0].Target = q.engine.Point, q.numbers["target_deg"]*deg
	s.Legs[0].Operating.Spark = spark
	kind, fail := control.KindOf(a.law)
	if fail != nil {
		return nil, fail
	}
	s.Sensing.Signal, s.Sensing.Reader = q.signal(), q.words["reader"]
	s.Sensing.Pressure = slices.Contains(kind.Needs, control.NeedPressure)
	s.Law.Name = a.law
	s.Guard.Off, s.Guard.Envelope = !a.guard, q.numbers["envelope"] == 1
	op := s.Legs[0].Operating
	a.key = benchKey{engineKey{engine.Name, engine.Geometry.Ratio}, op, s.Sensing.Signal, s.Sensing.Reader, s.Sensing.Pressure, s.Legs[0].Target, s.Guard.Envelope}
	a.scenario = &s
	return a, q.refuse(a)
}

// refuse returns what is not allowed of a, before anything is prepared for it.
func (q *query) refuse(a *asked) error {
	set, err := q.rig()
	if err != nil {
		return err
	}
	if _, err := sensor.New(q.engine, set, a.seed); err != nil {
		return err
	}
	s := *a.scenario
	s.Legs = slices.Clone(s.Legs)
	for _, m := range a.trailing {
		s.Legs[0].ManualTrailing = m.to
	}
	return s.Check()
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

// loopAnswer is some cycles of a run; the keys are a contract with the page.
type loopAnswer struct {
	From    int                `json:"from"`
	Rows    map[string]numbers `json:"rows"` // columns of the log
	Why     []string           `json:"guard_why"`
	States  []control.State    `json:"states"` // that guard_state counts from 0
	Verdict map[string]any     `json:"verdict"`
}

// loop computes cycles from..to-1 of a run.
func (p *Page) loop(ctx context.Context, q *query) (any, error) {
	from, to := q.whole("from"), q.whole("to")
	if !(from < to && to-from <= mostStride) {
		return nil, &model.Problem{Key: "to", Given: fmt.Sprint(to), Want: fmt.Sprintf("%d to %d, after from = %d", from+1, min(loopCycles, from+mostStride), from)}
	}
	r, err := p.run(ctx, q)
	if err != nil {
		return nil, err
	}
	defer p.lives.put(r)
	run := r.live.Run()
	source, err := run.Source()
	if err != nil {
		return nil, err
	}
	a := loopAnswer{From: from, Rows: map[string]numbers{}, States: loop.States()}
	columns := source.Columns()
	values := make([][]float64, len(columns))
	for row, err := range source.Rows(from, to) {
		if err != nil {
			return nil, err
		}
		for i, v := range row.Labels {
			values[i] = append(values[i], v)
		}
	}
	for i, c := range columns {
		a.Rows[c.Name] = numbers{values: values[i], unit: 1}
	}
	for i := from; i < to; i++ {
		a.Why = append(a.Why, run.Steps[i].Why)
	}
	v := r.sofar(to).Verdict()
	a.Verdict = v.Record()
	return a, nil
}

// loopCSV is the log of cycles 0 to to-1.
func (p *Page) loopCSV(ctx context.Context, q *query) (any, error) {
	to := q.whole("to")
	if to < 1 {
		return nil, &model.Problem{Key: "to", Given: fmt.Sprint(to), Want: "1 to 3000"}
	}
	r, err := p.run(ctx, q)
	if err != nil {
		return nil, err
	}
	defer p.lives.put(r)
	run := r.sofar(to)
	return p.file("phasebench-loop.csv", "text/csv", func(w io.Writer) error {
		return loop.WriteCSV(w, run, []string{"tool: phasebench " + p.version, "seed: " + fmt.Sprint(run.Seed), "caution: " + record.Caution})
	})
}

// loopTOML is the scenario file of a run, as it was moved until its cycle to.
func (p *Page) loopTOML(ctx context.Context, q *query) (any, error) {
	a, err := q.asks()
	if err == nil {
		err = loop.Write(io.Discard, a.scenario) // an engine that no file has is refused before it runs
	}
	if err != nil {
		return nil, err
	}
	r, err := p.run(ctx, q)
	if err != nil {
		return nil, err
	}
	defer p.lives.put(r)
	s := r.live.Run().Scenario
	return p.file("phasebench-loop.toml", "application/toml", func(w io.Writer) error { return loop.Write(w, s) })
}

// file is an answer that write writes.
func (p *Page) file(name, kind string, write func(w io.Writer) error) (any, error) {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return nil, err
	}
	return file{name, kind, b.Bytes()}, nil
}
