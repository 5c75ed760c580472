package dataset

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// Plan says which dataset to write, and which share of it.
type Plan struct {
	Dir           string
	Formats       []string               // of Formats()
	Cycles        int                    // in all, > 0
	Part          int                    // cycles in a part, > 0: one file of each kind; the unit of work, of resuming and of sharding
	Shard, Shards int                    // this run makes the parts p with p·Shards/parts = Shard, rounded down; Shards 0 or 1: all
	Workers       int                    // > 0
	Resume        bool                   // go on where an earlier run of the same plan stopped
	Source        func() (Source, error) // called once for each worker
	Card          Card
	Progress      func(done, total int) // cycles of this run; may be nil; never called twice at once
	Rate          float64               // samples a second [Hz], > 0; for wav only
}

// Card is what a reader of the dataset must know besides its columns.
type Card struct {
	Title, Description string
	Tool, Version      string // that made it
	Seed               uint64
	Config             []Setting // the whole resolved configuration, in order
	Caution            string    // what the data are not good for
	Licence            string    // one line
}

// Setting is one number or word of the configuration, its unit in the key.
type Setting struct {
	Key, Value string
}

// layout is what makes two datasets the same; it is kept in planFile. Every shard
// writes the same.
type layout struct {
	Layout  int // of files
	Formats []string
	Cycles  int
	Part    int
	Rate    float64
	Columns []Column
	Card    Card
}

const (
	planFile    = ".plan.json"
	packageFile = "datapackage.json"
	cardFile    = "README.md"
)

// set is a layout and what follows from it.
type set struct {
	layout
	dir     string
	schema  *schema
	outputs []output
}

func newSet(dir string, l layout) (*set, error) {
	switch {
	case l.Cycles <= 0:
		return nil, fmt.Errorf("dataset: %d cycles, want > 0", l.Cycles)
	case l.Part <= 0:
		return nil, fmt.Errorf("dataset: %d cycles a part, want > 0", l.Part)
	case len(l.Formats) == 0:
		return nil, fmt.Errorf("dataset: no format, want some of %s", strings.Join(Formats(), ", "))
	}
	for _, f := range l.Formats {
		if !slices.Contains(formatNames, f) {
			return nil, fmt.Errorf("dataset: format %q, want some of %s", f, strings.Join(Formats(), ", "))
		}
	}
	if slices.Contains(l.Formats, "wav") {
		if !(l.Rate >= 1 && l.Rate <= math.MaxUint32) || l.Rate != math.Trunc(l.Rate) {
			return nil, fmt.Errorf("dataset: wav: rate %g Hz, want a whole number from 1 to %d", l.Rate, uint32(math.MaxUint32))
		}
	} else {
		l.Rate = 0
	}
	s := &set{layout: l, dir: dir}
	var err error
	if s.schema, err = newSchema(l.Columns); err != nil {
		return nil, err
	}
	if s.outputs, err = outputs(s); err != nil {
		return nil, err
	}
	return s, nil
}

// parts is how many there are.
func (s *set) parts() int { return (s.Cycles + s.Part - 1) / s.Part }

// span is the cycles of a part: from first up to but without last.
func (s *set) span(part int) (first, last int) {
	first = part * s.Part
	return first, min(first+s.Part, s.Cycles)
}

// share lists the parts of a shard.
func (s *set) share(shard, shards int) (out []int) {
	n := s.parts()
	for p := range n {
		if p*shards/n == shard {
			out = append(out, p)
		}
	}
	return out
}

// path is where a file of the dataset is.
func (s *set) path(name string) string { return filepath.Join(s.dir, name) }

// has reports whether all files of a part are there.
func (s *set) has(part int) bool {
	for i := range s.outputs {
		if _, err := os.Stat(s.path(s.outputs[i].file(part))); err != nil {
			return false
		}
	}
	return true
}

// missing lists the parts that are not there.
func (s *set) missing() (out []int) {
	for p := range s.parts() {
		if !s.has(p) {
			out = append(out, p)
		}
	}
	return out
}

// text is the content of planFile.
func (l *layout) text() ([]byte, error) {
	text, err := json.MarshalIndent(l, "", "  ")
	return append(text, '\n'), err
}

// readSet reads the plan of the dataset in dir.
func readSet(dir string) (*set, error) {
	text, err := os.ReadFile(filepath.Join(dir, planFile))
	if err != nil {
		return nil, fmt.Errorf("dataset: no plan: %w", err)
	}
	var l layout
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&l); err != nil {
		return nil, fmt.Errorf("dataset: %s: %w", filepath.Join(dir, planFile), err)
	}
	if l.Layout != layoutNow {
		return nil, fmt.Errorf("dataset: %s: layout %d, want %d", filepath.Join(dir, planFile), l.Layout, layoutNow)
	}
	return newSet(dir, l)
}

// layoutNow grows when files of a dataset change in a way that parts of an older
// one must not be mixed with.
const layoutNow = 1

// settle makes the folder of s ready for these parts, or refuses it.
func (s *set) settle(own []int, alone, resume bool) error {
	if err := os.MkdirAll(s.dir, 0o755); err != nil {
		return fmt.Errorf("dataset: %w", err)
	}
	inside, err := os.ReadDir(s.dir) // before the plan, which comes before any part
	if err != nil {
		return fmt.Errorf("dataset: %w", err)
	}
	there, err := readSet(s.dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		for _, e := range inside {
			if !strings.HasPrefix(e.Name(), ".") {
				return fmt.Errorf("dataset: %s holds %s and no plan of a dataset, want an empty folder", s.dir, e.Name())
			}
		}
		return nil
	case err != nil:
		return err
	}
	if diff := s.differs(&there.layout); diff != "" {
		return fmt.Errorf("dataset: %s holds another dataset: %s", s.dir, diff)
	}
	if resume {
		return nil
	}
	if alone {
		return fmt.Errorf("dataset: %s holds this dataset already, want an empty folder or to resume", s.dir)
	}
	for _, p := range own {
		if s.has(p) {
			return fmt.Errorf("dataset: %s holds part %d already, want a shard that is not begun or to resume", s.dir, p)
		}
	}
	return nil
}

// differs tells the first thing in which the plan in the folder is another.
func (s *set) differs(there *layout) string {
	type pair struct{ here, there any }
	for _, c := range []struct {
		name string
		pair
	}{
		{"formats", pair{s.Formats, there.Formats}},
		{"cycles", pair{s.Cycles, there.Cycles}},
		{"cycles a part", pair{s.Part, there.Part}},
		{"rate [Hz]", pair{s.Rate, there.Rate}},
		{"tool", pair{s.Card.Tool, there.Card.Tool}},
		{"version", pair{s.Card.Version, there.Card.Version}},
		{"seed", pair{s.Card.Seed, there.Card.Seed}},
	} {
		if a, b := fmt.Sprint(c.here), fmt.Sprint(c.there); a != b {
			return fmt.Sprintf("%s %s, the plan is %s", c.name, b, a)
		}
	}
	for i := range max(len(s.Card.Config), len(there.Card.Config)) {
		a, b := at(s.Card.Config, i), at(there.Card.Config, i)
		if a != b {
			return fmt.Sprintf("configuration %s = %s, the plan is %s = %s", b.Key, b.Value, a.Key, a.Value)
		}
	}
	for i := range max(len(s.Columns), len(there.Columns)) {
		if a, b := at(s.Columns, i), at(there.Columns, i); a != b {
			return fmt.Sprintf("column %d %+v, the plan is %+v", i, b, a)
		}
	}
	mine, errMine := s.text()
	other, errOther := there.text()
	if errMine != nil || errOther != nil || !bytes.Equal(mine, other) {
		return "its title, description, caution or licence is another"
	}
	return ""
}

// at returns v[i], or nothing past the end.
func at[T any](v []T, i int) (out T) {
	if i < len(v) {
		out = v[i]
	}
	return out
}
