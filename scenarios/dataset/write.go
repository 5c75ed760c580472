// Package dataset writes labelled cycles to disk: numbers of every cycle beside the
// samples of its channels, in Parquet, CSV, NPZ, MAT, WAV and C, with a Data Package
// and a data card.
//
// A dataset is cut into parts. A part appears whole or not at all, so that a run
// may stop anywhere and go on later, and shards may run anywhere at once. No byte
// depends on time, machine, path, workers, shards or on how often a run stopped.
package dataset

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"sync"
	"sync/atomic"
)

// Write makes the parts of its shard. Once all parts of the dataset are there it
// finishes: datapackage.json and README.md. It returns soon after ctx has ended,
// with the error of ctx. Whatever stops it leaves whole parts only.
func Write(ctx context.Context, p *Plan) error {
	shards := max(p.Shards, 1)
	switch {
	case p.Workers <= 0:
		return fmt.Errorf("dataset: %d workers, want > 0", p.Workers)
	case p.Shards < 0 || p.Shard < 0 || p.Shard >= shards:
		return fmt.Errorf("dataset: shard %d of %d, want 0 to %d", p.Shard, p.Shards, shards-1)
	}
	source, err := p.Source()
	if err != nil {
		return err
	}
	s, err := newSet(p.Dir, layout{Layout: layoutNow, Formats: p.Formats, Cycles: p.Cycles, Part: p.Part, Rate: p.Rate,
		Columns: source.Columns(), Card: p.Card})
	if err != nil {
		return err
	}
	own, run := s.share(p.Shard, shards), ""
	if shards > 1 {
		run = fmt.Sprintf(".shard-%d", p.Shard)
	}
	if err := s.settle(own, shards == 1, p.Resume); err != nil {
		return err
	}
	for _, part := range own { // left by a run that died
		for i := range s.outputs {
			os.Remove(s.path(tempName(s.outputs[i].file(part), "")))
		}
	}
	for _, name := range []string{planFile, packageFile, cardFile} {
		os.Remove(s.path(tempName(name, run)))
	}
	text, err := s.text()
	if err != nil {
		return fmt.Errorf("dataset: %w", err)
	}
	if err := save(s.dir, planFile, run, func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
		return err
	}
	if err := s.writeParts(ctx, p, own, source); err != nil {
		return err
	}
	if len(s.missing()) > 0 {
		return nil // other shards are at work
	}
	return s.finish(ctx, run)
}

// Join finishes the dataset in dir after all its shards have ended. It says which
// parts are missing.
func Join(ctx context.Context, dir string) error {
	s, err := readSet(dir)
	if err != nil {
		return err
	}
	if gone := s.missing(); len(gone) > 0 {
		return fmt.Errorf("dataset: %s lacks %s of its %d parts, counted from 0", dir, ranges(gone), s.parts())
	}
	inside, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("dataset: %w", err)
	}
	for _, e := range inside { // no shard is at work any more
		if n := e.Name(); strings.HasPrefix(n, ".") && strings.Contains(n, ".shard-") && strings.HasSuffix(n, ".tmp") {
			os.Remove(s.path(n))
		}
	}
	return s.finish(ctx, "")
}

// ranges writes sorted numbers such as 1-3, 7.
func ranges(v []int) string {
	var out []string
	for i := 0; i < len(v); {
		j := i
		for j+1 < len(v) && v[j+1] == v[j]+1 {
			j++
		}
		if i == j {
			out = append(out, fmt.Sprint(v[i]))
		} else {
			out = append(out, fmt.Sprintf("%d-%d", v[i], v[j]))
		}
		i = j + 1
	}
	return strings.Join(out, ", ")
}

// progress counts cycles and tells.
type progress struct {
	sync.Mutex
	done, total int
	tell        func(done, total int)
}

func (g *progress) add(n int) {
	g.Lock()
	defer g.Unlock()
	if g.done += n; g.tell != nil {
		g.tell(g.done, g.total)
	}
}

// writeParts writes the parts that are not there yet; first serves one worker.
func (s *set) writeParts(ctx context.Context, p *Plan, own []int, first Source) error {
	g := &progress{tell: p.Progress}
	var todo []int
	there := 0
	for _, part := range own {
		from, to := s.span(part)
		g.total += to - from
		if s.has(part) {
			there += to - from
		} else {
			todo = append(todo, part)
		}
	}
	g.add(there)

	inner, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var next atomic.Int64
	work := func(source Source) error {
		m := newMaker(s)
		for {
			i := int(next.Add(1)) - 1
			if i >= len(todo) {
				return nil
			}
			if err := m.make(inner, source, todo[i], g); err != nil {
				return err
			}
		}
	}
	var all sync.WaitGroup
	for i := range min(p.Workers, len(todo)) {
		all.Go(func() {
			source, err := first, error(nil)
			if i > 0 {
				source, err = p.Source()
			}
			if err == nil {
				err = work(source)
			}
			if err != nil {
				stop(err)
			}
		})
	}
	all.Wait()
	if err := ctx.Err(); err != nil {
		return err
	}
	return context.Cause(inner)
}

// encoder writes the rows of one part into one file.
type encoder interface {
	row(r *Row) error
	close() error // after the last row
}

// maker makes one part after another and keeps its memory between them.
type maker struct {
	set  *set
	held *held // nil: no output asks for it
}

func newMaker(s *set) *maker {
	m := &maker{set: s}
	for i := range s.outputs {
		if s.outputs[i].holds {
			m.held = newHeld(s.schema)
		}
	}
	return m
}

// often is how many cycles pass between two calls of Progress: our own choice.
const often = 50

// make writes all files of a part in one pass over its rows.
func (m *maker) make(ctx context.Context, source Source, part int, g *progress) (err error) {
	s := m.set
	var files []*file
	defer func() {
		if err != nil {
			for _, f := range files {
				f.drop()
			}
		}
	}()
	var encoders []encoder
	first, last := s.span(part)
	if m.held != nil {
		m.held.clear()
	}
	for i := range s.outputs {
		o := &s.outputs[i]
		f, err := create(s.dir, o.file(part), "")
		if err != nil {
			return err
		}
		files = append(files, f)
		e, err := o.open(&job{set: s, part: part, held: m.held}, f)
		if err != nil {
			return err
		}
		encoders = append(encoders, e)
	}
	n := first
	for r, err := range source.Rows(first, last) {
		if stopped := ctx.Err(); stopped != nil {
			return stopped
		}
		if err != nil {
			return err
		}
		if n == last {
			return fmt.Errorf("dataset: the source gave more than the cycles %d to %d", first, last-1)
		}
		if err := s.schema.check(n, r); err != nil {
			return err
		}
		if m.held != nil {
			m.held.add(r)
		}
		for _, e := range encoders {
			if err := e.row(r); err != nil {
				return err
			}
		}
		if n++; (n-first)%often == 0 {
			g.add(often)
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if n != last {
		return fmt.Errorf("dataset: the source ended before cycle %d, want cycles to %d", n, last-1)
	}
	for i, e := range encoders {
		if err := e.close(); err != nil {
			return err
		}
		if err := files[i].settle(); err != nil {
			return err
		}
	}
	for _, f := range files {
		if err := f.appear(); err != nil {
			return err
		}
	}
	if err := syncDir(s.dir); err != nil {
		return err
	}
	g.add((last - first) % often)
	return nil
}

// tooLarge is the error of a file that its format cannot hold.
func tooLarge(f *file) error {
	return f.named(errors.New("4 GiB or more in one file, more than the format holds: fewer cycles a part"))
}
