package measured

import (
	"context"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"

	"phasebench/model"
	"phasebench/scenarios/measured/table"
)

// Recording yields the cycles of a table of samples, read once.
type Recording struct {
	set    Settings
	file   table.Table
	roles  *roles
	start  float64 // of a cycle, from its firing dead centre [rad]
	period float64 // of a cycle [rad]

	block [][]float64
	rows  int // in block
	clock clock
	edger *edger
	teeth *decoder
	run   run
	where string // of the row being read

	report  Report
	cycle   Cycle
	out     func(*Cycle) bool
	stopped bool    // the reader wants no more
	ended   float64 // x where the last cycle ended, good or broken; NaN: none yet
	took    float64 // x that the last good cycle took; NaN: none yet
	reason  string  // why the run before ended
	ending  bool    // there are no more rows
	sum     float64 // of speeds
	peaks   int     // cycles of an unlikely height
}

// blockRows are read at once. The first block is also what levels are found from.
const blockRows = 1 << 16

// New returns the cycles of t; set nil is usual. It reads the first rows. What is not
// allowed comes back as a *model.Problem, what cannot be understood as a *NotClear.
func New(t table.Table, set *Settings) (*Recording, error) {
	r := &Recording{file: t, ended: math.NaN(), took: math.NaN()}
	if set != nil {
		r.set = *set
	}
	if err := r.set.check(); err != nil {
		return nil, err
	}
	names := t.Columns()
	if r.set.Columns != nil {
		if len(r.set.Columns) != len(names) {
			return nil, &model.Problem{Key: "columns", Given: fmt.Sprintf("%d names", len(r.set.Columns)), Want: fmt.Sprintf("%d, as many as the recording has columns", len(names))}
		}
		names = r.set.Columns
	} else if !t.Named() {
		return nil, &model.Problem{Key: "columns", Given: "a recording without names", Want: fmt.Sprintf("a name for each of its %d columns: %s", len(names), Names())}
	}
	var err error
	if r.roles, err = find(names); err != nil {
		return nil, err
	}
	r.start, r.period = -2*math.Pi, 4*math.Pi
	if r.set.Chamber != nil {
		s := r.set.Chamber.Strokes()
		r.start, r.period = s.Start, s.Period()
	}
	if err := r.scale(); err != nil {
		return nil, err
	}
	for range names {
		r.block = append(r.block, make([]float64, blockRows))
	}
	r.run.reset()
	r.report.First, r.report.Speed = math.NaN(), [3]float64{math.NaN(), math.Inf(1), math.Inf(-1)}
	if err := r.read(); err != nil {
		if err == io.EOF {
			err = &NotClear{t.Place(0), "no rows"}
		}
		return nil, err
	}
	return r, r.prepare()
}

// scale settles what a unit of the pressure column is.
func (r *Recording) scale() error {
	unit := r.roles.unit[Pressure]
	if r.set.Slope == 0 {
		r.set.Slope = unit
	}
	if math.IsNaN(r.set.Slope) {
		return &model.Problem{Key: "slope", Given: "nothing, for a column of volts or raw numbers", Want: "the pressure of one unit"}
	}
	return nil
}

// prepare chooses what marks the angle and finds its levels.
func (r *Recording) prepare() error {
	has := r.roles.has
	switch {
	case has(Theta) || has(Index):
		r.clock = &angles{}
		if has(Theta) && has(Index) {
			r.roles.at[Index] = -1
		}
		r.report.First, r.report.FirstHow = 0, "the angles of the recording"
		r.report.Rate, r.report.Duration = math.NaN(), math.NaN()
	case has(Teeth) || has(Pulse):
		r.clock = &times{}
		if !has(Teeth) {
			r.roles.at[Teeth] = r.roles.at[Pulse]
			r.set.Wheel.Teeth, r.set.Wheel.Missing, r.set.Wheel.Doubled = 1, 0, false
		}
		if !math.IsNaN(r.set.Wheel.First) {
			r.report.First, r.report.FirstHow = r.set.Wheel.First, "given"
		}
	default:
		return &model.Problem{Key: "columns", Given: "neither angles nor a wheel", Want: "theta_deg, index, wheel or tdc beside the pressure"}
	}
	return r.clock.begin(r)
}

// read fills block; io.EOF where nothing is left.
func (r *Recording) read() error {
	n, err := r.file.Read(r.block)
	if n > 0 {
		err = nil
	}
	r.rows = n
	return err
}

// Cycles yields cycles in order, broken ones too. A Cycle is good until the next. An
// error ends them. It may be called once.
func (r *Recording) Cycles(ctx context.Context) iter.Seq2[*Cycle, error] {
	return func(yield func(*Cycle, error) bool) {
		r.out = func(c *Cycle) bool { return yield(c, nil) }
		if err := r.all(ctx); err != nil && !r.stopped {
			yield(nil, err)
		}
	}
}

func (r *Recording) all(ctx context.Context) error {
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := r.clock.rows(r); err != nil || r.stopped {
			return err
		}
		err := r.read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
	}
	r.ending = true
	if err := r.clock.end(r); err != nil || r.stopped {
		return err
	}
	if r.report.Cycles == 0 {
		return r.clock.nothing(r)
	}
	return nil
}

// Report returns what was found so far.
func (r *Recording) Report() Report {
	out := r.report
	out.Rows = r.file.Row()
	out.Flaws = slices.Clone(out.Flaws)
	f := r.file.Flaws()
	for _, x := range f.First {
		if len(out.Flaws) < keepFlaws {
			out.Flaws = append(out.Flaws, Flaw{x.Where, x.What})
		}
	}
	out.FlawCount += int(f.Count)
	if r.report.Cycles > 0 && !math.IsInf(out.Speed[1], 0) {
		out.Speed[0] = r.sum / float64(r.report.Cycles)
	} else {
		out.Speed = [3]float64{math.NaN(), math.NaN(), math.NaN()}
	}
	if r.peaks > 0 {
		out.Warnings = append(slices.Clone(out.Warnings), fmt.Sprintf("%d cycles reach more than %g bar: is the scale right?", r.peaks, unlikelyHigh/bar))
	}
	return out
}

// enough is how many cycles of a run that broke off dead centre is found from.
const enough = 4

// emit yields the cycles that the run holds whole; last: nothing will be added to it.
func (r *Recording) emit(last bool) error {
	run := &r.run
	if len(run.angle) < 2 {
		return nil
	}
	if math.IsNaN(run.next) {
		need := 8. // cycles to find dead centre with
		if !math.IsNaN(r.report.First) {
			need = 2
		}
		if short := run.span() < (need+1)*r.period; short && !last || short && need > 2 && !r.ending && run.span() < (enough+1)*r.period {
			return nil
		}
		if err := r.settle(); err != nil || math.IsNaN(run.next) {
			return err
		}
	}
	step := r.period / float64(r.set.Samples)
	for {
		from := run.next + r.start
		last := from + r.period - step // on the grid
		if tiny := 1e-9; last > run.angle[len(run.angle)-1]+tiny || run.at(last) > run.x[len(run.x)-1]+tiny {
			return nil
		}
		r.good(from, step)
		if r.stopped {
			return nil
		}
		run.next += r.period
		run.forget(run.next + r.start)
	}
}

// good yields the cycle that begins at the angle from, after those lost before it.
func (r *Recording) good(from, step float64) {
	run, c := &r.run, &r.cycle
	a, b := run.at(from), run.at(from+r.period)
	if r.lost(a, b-a); r.stopped {
		return
	}
	if c.Theta == nil {
		c.Theta, c.Pressure = make([]float64, r.set.Samples), make([]float64, r.set.Samples)
		for i := range c.Theta {
			c.Theta[i] = r.start + float64(i)*step
		}
	}
	c.Number = r.report.Cycles + r.report.Lost
	c.Start, c.Speed = r.clock.when(r, a, b)
	r.ended, r.took = b, b-a
	c.Broken = run.hole(a, b)
	if c.Broken != "" {
		c.Broken = "a sample is no number: " + c.Broken
		r.report.Lost++
		r.report.flaw(fmt.Sprintf("cycle %d", c.Number), "%s", c.Broken)
		r.stopped = !r.out(c)
		return
	}
	run.grid(c.Pressure, from, step)
	r.report.Cycles++
	if !math.IsNaN(c.Speed) {
		r.sum += c.Speed
		r.report.Speed[1], r.report.Speed[2] = min(r.report.Speed[1], c.Speed), max(r.report.Speed[2], c.Speed)
	}
	if slices.Max(c.Pressure)-slices.Min(c.Pressure) > unlikelyHigh {
		r.peaks++
	}
	r.stopped = !r.out(c)
}

// lost yields a broken cycle for each that went by between the end of the last and x.
func (r *Recording) lost(x, took float64) {
	if math.IsNaN(r.ended) {
		return
	}
	if !math.IsNaN(r.took) {
		took = r.took
	}
	for n := int(math.Round((x - r.ended) / took)); n > 0; n-- {
		c := &r.cycle
		c.Number, c.Broken = r.report.Cycles+r.report.Lost, r.reason
		c.Start, c.Speed = math.NaN(), math.NaN()
		r.report.Lost++
		if r.stopped = !r.out(c); r.stopped {
			return
		}
	}
}

// cut ends the run: what is whole comes out, and a new one begins with the samples from
// x on. why is told.
func (r *Recording) cut(where, why string, x float64) error {
	if err := r.emit(true); err != nil {
		return err
	}
	if math.IsNaN(r.ended) && len(r.run.mark) > 0 {
		r.ended = r.run.mark[0]
	}
	r.report.flaw(where, "%s", why)
	r.reason = where + ": " + why
	r.run.restart(x)
	return nil
}
