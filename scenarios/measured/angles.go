package measured

import (
	"fmt"
	"math"
	"slices"
	"sort"
)

// angles are samples at angles, or counted from the start of each cycle: x is the angle.
type angles struct {
	count  int     // samples of a cycle, where they are counted
	turns  float64 // what is added to angles that begin again [rad]
	last   float64 // x of the sample before
	index  float64 // of the sample before
	number float64 // of its cycle
	step   float64 // usual, between samples [rad]

	x, time []float64 // of samples of late, where there is a column of time
	since   []float64 // x from which each of speeds holds
	speeds  []float64 // of samples of late [rad/s]; 0: not known
}

func (k *angles) begin(r *Recording) error {
	k.last, k.index, k.number = math.NaN(), math.NaN(), math.NaN()
	if !r.roles.has(Index) {
		theta := r.block[r.roles.at[Theta]][:r.rows]
		most, step := 0, 0.
		steps := map[float64]int{}
		for i := 1; i < len(theta); i++ {
			d := (theta[i] - theta[i-1]) * r.roles.unit[Theta]
			if !(d > 0) {
				continue
			}
			q := math.Round(d*1e6) / 1e6
			if steps[q]++; steps[q] > most {
				most, step = steps[q], d
			}
		}
		if most == 0 {
			return r.unclearAt(0, "angles do not go on")
		}
		k.step = step
		return nil
	}
	index := r.block[r.roles.at[Index]][:r.rows]
	for i, v := range index {
		if !(v == 0 && i > 0 && index[i-1] > 0) {
			continue
		}
		count := int(index[i-1]) + 1
		if k.count == 0 {
			k.count = count
		}
		if count != k.count {
			return r.unclearAt(int64(i-1), "cycles of %d and of %d samples: they are in time, not at angles; a recording without seams and with a wheel beside it tells angles (traces writes one as WAV)", k.count, count)
		}
	}
	if k.count == 0 {
		k.count = int(index[r.rows-1]) + 1 // one cycle
	}
	if k.count < fewestSamples || k.count > maxSamples {
		return r.unclearAt(0, "%d samples in a cycle, %d to %d are possible", k.count, fewestSamples, maxSamples)
	}
	k.step = r.period / float64(k.count)
	return nil
}

func (k *angles) rows(r *Recording) error {
	at := r.roles.at
	pressure := r.block[at[Pressure]]
	base := r.file.Row() - int64(r.rows)
	for i := range r.rows {
		x, why := k.angle(r, i)
		if why != "" && !math.IsNaN(k.last) {
			r.where = r.file.Place(base + int64(i))
			if err := r.cut(r.where, why, math.Inf(1)); err != nil || r.stopped {
				return err
			}
		}
		if x != x {
			continue
		}
		p := r.set.Slope*pressure[i] + r.set.Offset
		if p != p {
			r.run.holes = append(r.run.holes, hole{x, r.file.Place(base + int64(i))})
			if p = 0; len(r.run.p) > 0 {
				p = r.run.p[len(r.run.p)-1]
			}
		}
		k.last = x
		r.run.add(x, p)
		r.run.mark, r.run.angle = append(r.run.mark, x), append(r.run.angle, x)
		k.note(r, i, x)
	}
	r.where = r.file.Place(base)
	return r.emit(false)
}

// angle is that of row i, counted on from cycle to cycle, and why it does not follow the
// row before.
func (k *angles) angle(r *Recording, i int) (x float64, why string) {
	at := r.roles.at
	if !r.roles.has(Index) {
		v := r.block[at[Theta]][i] * r.roles.unit[Theta]
		if v != v {
			return v, ""
		}
		if x = v + k.turns; x < k.last-math.Pi { // they begin again: after a turn, a cycle, all
			k.turns += 2 * math.Pi * math.Round((k.last+k.step-x)/(2*math.Pi))
			x = v + k.turns
		}
		if d := x - k.last; d <= 0 || d > 1.9*k.step {
			why = fmt.Sprintf("the angle goes from %.6g to %.6g deg, a step is %.4g", k.last/deg, x/deg, k.step/deg)
		}
		if x <= k.last { // a run needs angles that go on
			k.turns += r.period
			x += r.period
		}
		return x, why
	}
	index := r.block[at[Index]][i]
	if index != index {
		return index, ""
	}
	begins := index == 0 && k.index == float64(k.count-1)
	if !math.IsNaN(k.index) && index != k.index+1 && !begins {
		why = fmt.Sprintf("index goes from %g to %g, a cycle has %d", k.index, index, k.count)
	}
	if !math.IsNaN(k.index) && index <= k.index {
		k.turns += r.period
	}
	if r.roles.has(Number) {
		number := r.block[at[Number]][i]
		if d := number - k.number; d > 1 || d < 0 {
			why = fmt.Sprintf("cycle goes from %g to %g", k.number, number)
			k.turns += r.period * math.Max(0, d-1)
		}
		k.number = number
	}
	k.index = index
	return r.start + k.turns + index*k.step, why
}

// note keeps time and speed of a row.
func (k *angles) note(r *Recording, i int, x float64) {
	speed := r.set.Speed
	if c := r.roles.at[Speed]; c >= 0 {
		speed = r.block[c][i] * r.roles.unit[Speed]
	}
	if n := len(k.speeds); n == 0 || k.speeds[n-1] != speed {
		k.since, k.speeds = append(k.since, x), append(k.speeds, speed)
	}
	if c := r.roles.at[Time]; c >= 0 {
		k.x, k.time = append(k.x, x), append(k.time, r.block[c][i]*r.roles.unit[Time])
	}
}

func (k *angles) end(r *Recording) error { return r.emit(true) }

func (k *angles) when(r *Recording, from, to float64) (at, speed float64) {
	at = math.NaN()
	now := max(0, sort.SearchFloat64s(k.since, (from+to)/2)-1)
	speed = k.speeds[now]
	k.since, k.speeds = slices.Delete(k.since, 0, now), slices.Delete(k.speeds, 0, now)
	if n := len(k.x); n > 1 {
		time := func(x float64) float64 { // straight, also beyond the last sample
			i := min(max(sort.SearchFloat64s(k.x, x), 1), n-1)
			return k.time[i] + (x-k.x[i])*(k.time[i]-k.time[i-1])/(k.x[i]-k.x[i-1])
		}
		at = time(from)
		speed = r.period / (time(to) - at)
		gone := max(0, sort.SearchFloat64s(k.x, to)-2)
		k.x, k.time = slices.Delete(k.x, 0, gone), slices.Delete(k.time, 0, gone)
	}
	if !(speed > 0) {
		speed = math.NaN()
	}
	return at, speed
}

func (k *angles) nothing(r *Recording) error {
	return r.unclearAt(0, "no whole cycle in %.4g deg", r.run.span()/deg)
}
