// Package traces makes rows of a dataset of ragged cycles: what is true of each,
// which faults the instruments had, and what they delivered.
package traces

import (
	"context"
	"fmt"
	"iter"
	"strings"

	"phasebench/scenarios/dataset"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// Bench is a stream of cycles with instruments on it.
type Bench struct {
	Stream *stream.Stream
	Setup  sensor.Setup
	Seed   uint64
	Truth  bool // also the true pressure, as a channel of its own

	// With a hand on it the stream is steered from its cycle 0 on, with Seed, and its
	// cycle First is cycle 0 of the rows; run_cycle is what the stream calls it. A part
	// then costs all cycles before it too.
	Steer stream.Steer
	First int
}

// runColumn is the column that steered rows have after the labels.
var runColumn = dataset.Column{Name: "run_cycle", About: "number of the cycle in the run, from whose cycle 0 on the engine was steered", Kind: dataset.Whole}

// truth is the name of that channel.
const truth = "true_pressure_bar"

// Source returns a source of rows of b; it serves one goroutine.
func (b *Bench) Source(ctx context.Context) (dataset.Source, error) {
	rig, err := sensor.New(b.Stream.Engine(), b.Setup, b.Seed)
	if err != nil {
		return nil, err
	}
	s := &source{bench: b, ctx: ctx, rig: rig, labels: labels}
	if b.Stream.Engine().Burn.Plugs == 2 {
		s.labels = append(append([]label(nil), labels...), splitLabel)
	}
	return s, nil
}

type source struct {
	bench  *Bench
	ctx    context.Context // of the run that writes the dataset
	rig    *sensor.Rig
	labels []label
	record sensor.Record
	truth  []float32
	row    dataset.Row
}

// Columns implements dataset.Source.
func (s *source) Columns() []dataset.Column {
	var all []dataset.Column
	for _, l := range s.labels {
		all = append(all, dataset.Column{Name: l.name, Unit: l.unit, About: l.about, Kind: l.kind})
	}
	all = append(all, dataset.Column{Name: "seed", About: "of all draws", Kind: dataset.Whole})
	if s.bench.Steer != nil {
		all = append(all, runColumn)
	}
	seen := map[string]int{}
	for i := range s.bench.Setup.Faults {
		f := &s.bench.Setup.Faults[i]
		seen[f.Name]++
		all = append(all, faultColumn(f, seen[f.Name]))
	}
	count := s.bench.Stream.Samples()
	for _, c := range s.rig.Channels() {
		all = append(all, dataset.Column{Name: c.Name, Unit: c.Unit, About: c.About, Kind: dataset.Samples, Count: c.Count(count),
			Full: full[c.Unit], Uneven: c.Unit == "us" || c.Name == "knock_v"}) // that has a clock of its own
	}
	if s.bench.Truth {
		all = append(all, dataset.Column{Name: truth, Unit: "bar", About: "pressure in the chamber at the angles of an ideal encoder: no instrument delivers it",
			Kind: dataset.Samples, Count: count, Full: full["bar"], Uneven: s.bench.Setup.Sampling.RateHz > 0})
	}
	return all
}

// full is what full scale of a stimulus stands for, by unit (our own choice).
var full = map[string]float64{"bar": 150, "uA": 150, "V": 10}

// faultColumn is the column of the severity of f, the nth of its name.
func faultColumn(f *sensor.Fault, nth int) dataset.Column {
	c := dataset.Column{Name: "fault_" + strings.ReplaceAll(f.Name, "-", "_"), Kind: dataset.Number}
	if nth > 1 {
		c.Name += fmt.Sprintf("_%d", nth)
	}
	for _, k := range sensor.Kinds() {
		if k.Name == f.Name {
			c.Unit, c.About = k.Unit, "severity of this fault, 0 while it is not active: "+k.About
		}
	}
	return c
}

// Rows implements dataset.Source.
func (s *source) Rows(first, last int) iter.Seq2[*dataset.Row, error] {
	return func(yield func(*dataset.Row, error) bool) {
		s.rig.Reset()
		for c, err := range s.cycles(first, last) {
			if err == nil {
				err = s.rig.Take(c, &s.record)
			}
			if err != nil {
				yield(nil, err)
				return
			}
			if c.Warming || s.bench.Steer != nil && c.Number < s.bench.First+first {
				continue
			}
			s.tell(c)
			if !yield(&s.row, nil) {
				return
			}
		}
	}
}

// cycles yields the cycles of the rows from first up to but without last, and those
// that bring them about.
func (s *source) cycles(first, last int) iter.Seq2[*stream.Cycle, error] {
	b := s.bench
	if b.Steer == nil {
		return b.Stream.Cycles(s.ctx, first, last)
	}
	return b.Stream.Steered(s.ctx, b.Seed, b.First+last, b.Steer)
}

// tell fills the row with c.
func (s *source) tell(c *stream.Cycle) {
	r := &s.row
	r.Labels, r.Channels = r.Labels[:0], r.Channels[:0]
	for i := range s.labels {
		r.Labels = append(r.Labels, s.labels[i].of(c)/s.labels[i].scale)
	}
	r.Labels = append(r.Labels, float64(s.bench.Seed))
	if s.bench.Steer != nil {
		r.Labels[0] = float64(c.Number - s.bench.First)
		r.Labels = append(r.Labels, float64(c.Number))
	}
	r.Labels = append(r.Labels, s.record.Severity...)
	r.Channels = append(r.Channels, s.record.Values...)
	if s.bench.Truth {
		s.truth = s.truth[:0]
		for _, p := range c.Pressure {
			s.truth = append(s.truth, float32(p/bar))
		}
		r.Channels = append(r.Channels, s.truth)
	}
}
