package dataset

import (
	"fmt"
	"iter"
	"math"
	"regexp"
	"strings"
)

// Kind is what a column holds.
type Kind int

// The kinds of columns.
const (
	Number  Kind = iota // a float64; NaN: the cycle has none
	Whole               // an integer
	Flag                // true or false
	Samples             // the samples of a channel, one list a cycle
)

var kindNames = [...]string{"number", "whole number", "flag", "samples"}

// Column is one column of a dataset. Units are in its name.
type Column struct {
	Name   string  // such as lpp_deg_atdc
	Unit   string  // such as deg; "" for none
	About  string  // one line
	Kind   Kind    `json:",omitempty"`
	Count  int     `json:",omitempty"` // for Samples: of every cycle; 0: it differs from cycle to cycle
	Full   float64 `json:",omitempty"` // for Samples: the value that is 1 in a WAV file [Unit]; 0: 1
	Uneven bool    `json:",omitempty"` // for Samples: not evenly spaced, such as times of events; WAV leaves them out
}

// Row is one cycle. Its slices belong to whoever yields it and are used again.
type Row struct {
	Labels   []float64   // in the order of the columns that are not Samples; a Flag is 0 or 1
	Channels [][]float32 // in the order of the columns that are
}

// Source makes the rows of a dataset.
type Source interface {
	// Columns lists labels first, then channels. The first is cycle, a Whole column:
	// the number of the cycle.
	Columns() []Column
	// Rows yields the cycles from first up to but without last. Whatever asks, in
	// whatever order, a cycle of the same part comes out the same: first is always
	// the first cycle of a part.
	Rows(first, last int) iter.Seq2[*Row, error]
}

// longestName leaves room for _offsets in the 63 characters of a MAT variable.
const longestName = 55

var (
	namePattern = regexp.MustCompile(`^[a-z][a-z0-9_]*$`)
	// taken are columns and variables of our own.
	taken = regexp.MustCompile(`^(index|value|first_sample.*|labels|samples|cycles|.*_offsets|.*_scale)$`)
)

// schema is the columns of a dataset, split.
type schema struct {
	labels, channels []Column
}

func newSchema(all []Column) (*schema, error) {
	s := &schema{}
	seen := map[string]bool{}
	for i, c := range all {
		switch {
		case !namePattern.MatchString(c.Name) || len(c.Name) > longestName:
			return nil, fmt.Errorf("dataset: column %d: name %q, want at most %d of a-z, 0-9 and _, a letter first", i, c.Name, longestName)
		case taken.MatchString(c.Name):
			return nil, fmt.Errorf("dataset: column %d: the name %q is taken", i, c.Name)
		case seen[c.Name]:
			return nil, fmt.Errorf("dataset: column %d: %s is there twice", i, c.Name)
		case c.Kind < Number || c.Kind > Samples:
			return nil, fmt.Errorf("dataset: column %s: kind %d, want 0 to %d", c.Name, c.Kind, Samples)
		case c.Count < 0:
			return nil, fmt.Errorf("dataset: column %s: %d samples, want none or more", c.Name, c.Count)
		case !(c.Full >= 0) || math.IsInf(c.Full, 0):
			return nil, fmt.Errorf("dataset: column %s: full scale %g %s, want a number > 0", c.Name, c.Full, c.Unit)
		case strings.ContainsAny(c.Unit+c.About, "\r\n"):
			return nil, fmt.Errorf("dataset: column %s: unit and description are more than one line", c.Name)
		case c.Kind != Samples && len(s.channels) > 0:
			return nil, fmt.Errorf("dataset: column %s: labels come before channels", c.Name)
		}
		seen[c.Name] = true
		if c.Kind == Samples {
			s.channels = append(s.channels, c)
		} else {
			s.labels = append(s.labels, c)
		}
	}
	if len(s.labels) == 0 || s.labels[0].Name != "cycle" || s.labels[0].Kind != Whole {
		return nil, fmt.Errorf("dataset: the first column is not cycle, a %s", kindNames[Whole])
	}
	return s, nil
}

// check says what is wrong with a row of this cycle.
func (s *schema) check(cycle int, r *Row) error {
	if len(r.Labels) != len(s.labels) || len(r.Channels) != len(s.channels) {
		return fmt.Errorf("dataset: cycle %d: %d labels and %d channels, want %d and %d",
			cycle, len(r.Labels), len(r.Channels), len(s.labels), len(s.channels))
	}
	if r.Labels[0] != float64(cycle) {
		return fmt.Errorf("dataset: cycle %d: the source numbers it %g", cycle, r.Labels[0])
	}
	for i, v := range r.Labels {
		switch s.labels[i].Kind {
		case Whole:
			if v != math.Trunc(v) || !(math.Abs(v) <= 1<<53) {
				return fmt.Errorf("dataset: cycle %d: %s = %g, want a whole number within ±2^53", cycle, s.labels[i].Name, v)
			}
		case Flag:
			if v != 0 && v != 1 {
				return fmt.Errorf("dataset: cycle %d: %s = %g, want 0 or 1", cycle, s.labels[i].Name, v)
			}
		}
	}
	for i := range s.channels {
		if n := s.channels[i].Count; n > 0 && len(r.Channels[i]) != n {
			return fmt.Errorf("dataset: cycle %d: %s has %d samples, want %d", cycle, s.channels[i].Name, len(r.Channels[i]), n)
		}
	}
	return nil
}
