package loop

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
)

// ErrScenario is wrapped by every error about the content of a scenario file.
var ErrScenario = errors.New("not a valid scenario")

// fileFault is one fault of a file with its place.
type fileFault struct {
	file     string
	row, col int
	err      error // most are a *model.Problem
}

func (f *fileFault) Error() string {
	return fmt.Sprintf("%s:%d:%d: %v", f.file, f.row, f.col, f.err)
}

// Unwrap gives the fault without its place.
func (f *fileFault) Unwrap() error { return f.err }

// fileFaults are all faults of a file, in order of rows.
type fileFaults []*fileFault

func (f fileFaults) Error() string {
	lines := make([]string, len(f))
	for i, x := range f {
		lines[i] = x.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap makes them an ErrScenario.
func (f fileFaults) Unwrap() []error {
	all := []error{ErrScenario}
	for _, x := range f {
		all = append(all, x)
	}
	return all
}

// Load reads a scenario file; see Parse.
func Load(path string) (*Scenario, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("scenario file: %w", err)
	}
	return Parse(path, data)
}

// Parse reads a scenario file (TOML). file is its name: in errors, and an engine file is
// looked for beside it. All keys are optional; Usual tells what is left out, the engine
// being the pump set. testdata/scenarios has examples.
//
//	name, engine (an embedded one, or a file .toml), cycles, exact
//	[[at]]      one row for each Leg; what is left out stays as in the row before
//	[actuator]  what stands between an order and the spark
//	[reader]    how the controller sees the cycle
//	[law]       and its numbers by their keys; [law.knock_numbers] those of law.knock
//	[guard]     on, envelope, and its numbers by their keys
//	[base]      retard_deg; or speeds_rpm, maps_kpa and rows of spark_deg_btdc, one for each speed
//	[ceiling]   what a verdict counts cycles beyond
//	[knobs]     all of stream.Table, or no such table
//	[[fault]]   name, severity (typical), from_cycle (0), to_cycle (for ever)
//
// The file is read strictly. An error wraps ErrScenario and lists every fault with row,
// column, key, value and what is allowed; each is a *model.Problem, but for what is not TOML.
// Numbers are read as those of engine files, but with 18 digits and more exactly, so
// that Write can write all there are.
func Parse(file string, data []byte) (*Scenario, error) {
	o, row, col, err := newOutline(data)
	if err != nil {
		return nil, fileFaults{{file, row, col, err}}
	}
	r := &reading{outline: o, file: file, told: map[string]bool{}}
	r.loadEngine()
	for { // what was told is as if it had been left out, and the rest is looked at again
		before := len(r.faults)
		s := r.scenario()
		if len(r.faults) == before && r.engineGood {
			for _, p := range s.problems() {
				r.tell(p.Key, p.Given, p.Want)
			}
		}
		if len(r.faults) == 0 {
			return s, nil
		}
		if len(r.faults) == before {
			break
		}
	}
	slices.SortStableFunc(r.faults, func(a, b *fileFault) int {
		if a.row != b.row {
			return a.row - b.row
		}
		return a.col - b.col
	})
	return nil, r.faults
}
