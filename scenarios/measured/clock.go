package measured

import (
	"fmt"
	"math"
	"slices"

	"phasebench/model"
)

// clock ties rows to the run of a recording.
type clock interface {
	begin(r *Recording) error                                // with the first block
	rows(r *Recording) error                                 // takes the block
	end(r *Recording) error                                  // there are no more
	when(r *Recording, from, to float64) (at, speed float64) // start [s] and speed [rad/s] of a cycle between two x
	nothing(r *Recording) error                              // no cycle came out: why
}

// times are samples in time beside a wheel: x is time.
type times struct {
	next  float64 // time of the next sample, where the rate says it
	step  float64 // between samples [s]; of a column, the median of the first
	last  float64
	turns int
}

func (k *times) begin(r *Recording) error {
	rate := r.set.Rate
	if rate == 0 {
		rate = r.file.Rate()
	}
	k.last = math.NaN()
	if r.roles.has(Time) {
		t := r.block[r.roles.at[Time]][:r.rows]
		var steps []float64
		for i := 1; i < len(t); i++ {
			if d := (t[i] - t[i-1]) * r.roles.unit[Time]; d > 0 {
				steps = append(steps, d)
			}
		}
		if len(steps) == 0 {
			return r.unclearAt(0, "time does not go on")
		}
		slices.Sort(steps)
		k.step = steps[len(steps)/2]
	} else {
		if !(rate > 0) {
			return &model.Problem{Key: "rate_hz", Given: "nothing", Want: "samples a second, where the recording has no column of time"}
		}
		k.step = 1 / rate
	}
	r.report.Rate = 1 / k.step
	look := r.block[r.roles.at[Teeth]][:r.rows]
	p := r.block[r.roles.at[Pressure]][:r.rows]
	if twoLevels(p) && !twoLevels(look) {
		return r.unclearAt(0, "the pressure jumps between two levels as a wheel does, and the wheel does not: are the two swapped?")
	}
	if r.edger = newEdger(look, r.set.Level, r.set.Falling); r.edger == nil {
		return r.unclearAt(0, "the wheel's signal stands still at %.4g: no edges", look[0])
	}
	r.teeth = newDecoder(r.set.Wheel)
	return nil
}

func (k *times) rows(r *Recording) error {
	time := []float64(nil)
	if r.roles.has(Time) {
		time = r.block[r.roles.at[Time]]
	}
	unit := r.roles.unit[Time]
	pressure, wheel := r.block[r.roles.at[Pressure]], r.block[r.roles.at[Teeth]]
	base := r.file.Row() - int64(r.rows)
	for i := range r.rows {
		t := k.next
		if time != nil {
			if t = time[i] * unit; math.IsNaN(t) {
				continue // the gap that it leaves is told below
			}
			if d := t - k.last; !(d > 0 && d < 1.9*k.step) && !math.IsNaN(k.last) {
				r.where = r.file.Place(base + int64(i))
				why := fmt.Sprintf("time goes from %s to %s, a step is %.4g s", seconds(k.last), seconds(t), k.step)
				if d <= 0 {
					return &NotClear{r.where, why + ": time must go on"}
				}
				r.teeth.gap()
				r.edger.t, r.edger.v = math.NaN(), math.NaN()
				if err := r.cut(r.where, why, t); err != nil || r.stopped {
					return err
				}
			}
		}
		k.last, k.next = t, t+k.step
		p := r.set.Slope*pressure[i] + r.set.Offset
		if p != p || wheel[i] != wheel[i] {
			where := r.file.Place(base + int64(i))
			r.run.holes = append(r.run.holes, hole{t, where})
			if n := len(r.run.p); p != p && n > 0 {
				p = r.run.p[n-1]
			} else if p != p {
				p = 0
			}
		}
		r.run.add(t, p)
		if wheel[i] != wheel[i] {
			continue
		}
		edge := r.edger.next(t, wheel[i])
		if edge != edge {
			continue
		}
		if turn, ok := r.teeth.next(edge); ok {
			r.where = r.file.Place(base + int64(i))
			if err := k.turn(r, &turn); err != nil || r.stopped {
				return err
			}
		} else if !r.teeth.begun {
			k.idle(r)
		}
	}
	r.report.Duration = k.next
	return nil
}

// idle drops samples that no turn will need, while no reference was seen.
func (k *times) idle(r *Recording) {
	if len(r.run.mark) > 0 || len(r.teeth.held) == 0 {
		return
	}
	from := r.teeth.held[0]
	n := 0
	for n < len(r.run.x) && r.run.x[n] < from-2*k.step {
		n++
	}
	if n > blockRows {
		r.run.x, r.run.p, r.run.sum = slices.Delete(r.run.x, 0, n), slices.Delete(r.run.p, 0, n), slices.Delete(r.run.sum, 0, n)
	}
}

// turn takes a turn of the wheel.
func (k *times) turn(r *Recording, t *turn) error {
	run := &r.run
	if t.broken != "" {
		return r.cut(seconds(t.times[0]), t.broken, t.end-2*k.step)
	}
	k.turns++
	w := &r.set.Wheel
	base := 0.
	if n := len(run.mark); n > 0 {
		base = run.angle[n-1]
		run.mark, run.angle = run.mark[:n-1], run.angle[:n-1]
	} else {
		for i, angle := range w.part(r.teeth.before, true) {
			run.mark, run.angle = append(run.mark, r.teeth.before[i]), append(run.angle, angle-2*math.Pi)
		}
	}
	r.teeth.before = nil
	for i, at := range t.times {
		run.mark, run.angle = append(run.mark, at), append(run.angle, base+w.edge(i))
	}
	run.mark, run.angle = append(run.mark, t.end), append(run.angle, base+2*math.Pi)
	return r.emit(false)
}

// edge is the angle of an edge of a turn after the reference [rad].
func (w *Wheel) edge(i int) float64 {
	switch {
	case !w.Doubled || i == 0:
		return float64(i) * w.pitch()
	case i == 1:
		return w.pitch() / 2
	}
	return float64(i-1) * w.pitch()
}

// end uses what came after the last reference too.
func (k *times) end(r *Recording) error {
	run, w := &r.run, &r.set.Wheel
	if n := len(run.mark); n > 0 && r.teeth.begun && w.teeth() > 1 {
		base := run.angle[n-1]
		for i, angle := range w.part(r.teeth.held, false) {
			if i > 0 { // the reference is there
				run.mark, run.angle = append(run.mark, r.teeth.held[i]), append(run.angle, base+angle)
			}
		}
	}
	return r.emit(true)
}

func (k *times) when(r *Recording, from, to float64) (at, speed float64) {
	return from, r.period / (to - from)
}

func (k *times) nothing(r *Recording) error {
	most, count := 0, 0
	for n, c := range r.teeth.count {
		if c > count {
			most, count = n, c
		}
	}
	w := &r.set.Wheel
	switch {
	case len(r.teeth.count) == 0:
		return r.unclearAt(0, "no reference of a wheel %s in %d edges of %s: is the wheel right, is it the right channel?", w, len(r.teeth.held), seconds(k.next))
	case k.turns == 0:
		return r.unclearAt(0, "mostly %d edges from reference to reference, the wheel %s has %d: is the wheel right?", most, w, w.edges())
	}
	return r.unclearAt(0, "%d turns of the wheel hold no whole cycle", k.turns)
}

// twoLevels tells a signal that mostly stands at one of two levels.
func twoLevels(v []float64) bool {
	low, high := heights(v)
	near := 0
	for _, x := range v {
		if math.Abs(x-low) < 0.1*(high-low) || math.Abs(x-high) < 0.1*(high-low) {
			near++
		}
	}
	n, up := len(v), 0
	for _, x := range v {
		if x > (low+high)/2 {
			up++
		}
	}
	return high > low && near > n*8/10 && up > n/20
}

func (r *Recording) unclearAt(row int64, format string, a ...any) error {
	return &NotClear{r.file.Place(row), fmt.Sprintf(format, a...)}
}
