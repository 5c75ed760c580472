// Package measured turns recorded signals into cycles of pressure on a grid of angles:
// samples in time beside a tooth wheel or a pulse at dead centre, or samples at angles.
// What cannot be used is told, never dropped in silence.
//
// It knows no truth and no burning: package indicate makes numbers of what comes out.
package measured

import (
	"fmt"
	"math"
	"strings"

	"phasebench/model"
	"phasebench/model/chamber"
)

const (
	deg = math.Pi / 180
	bar = 1e5
	rpm = 2 * math.Pi / 60
)

// Cycle is one recorded cycle on a grid of angles.
type Cycle struct {
	Number   int       // 0, 1, … in the recording, broken ones counted
	Start    float64   // time of its first sample from the start of the recording [s]; NaN: not known
	Speed    float64   // mean shaft speed [rad/s]; NaN: not known
	Theta    []float64 // evenly spaced over the cycle from its start [rad], 0 at firing dead centre
	Pressure []float64 // as recorded, scaled [Pa]; its zero may be anywhere
	Broken   string    // why it cannot be used; "": it can. Pressure is then not to be read
}

// Settings says how a recording is to be understood.
type Settings struct {
	Columns []string // names with units, in the order of the columns; nil: those of the file. See Roles
	Rate    float64  // samples a second where neither file nor column says [1/s]

	Slope  float64 // pressure of one unit of the column [Pa]; 0: that of the unit in its name
	Offset float64 // pressure where the column is 0 [Pa]

	Wheel   Wheel
	Level   float64 // of wheel or pulse that an edge passes; NaN: midway
	Falling bool    // edges fall

	Samples int             // of a cycle on the grid, 0: 720
	Speed   float64         // of samples at angles, where no column says [rad/s]; 0: not known
	Chamber chamber.Chamber // of the engine: where the angle of the reference is found from pressure
}

// Usual number of samples of a cycle, and the least and most.
const (
	usualSamples              = 720
	fewestSamples, maxSamples = 90, 72000
)

// Wheel is what marks the angle. The zero value is a pulse once a turn.
type Wheel struct {
	Teeth   int     // equal pitches of a turn, 0: 1
	Missing int     // teeth that are not there, one after another
	Doubled bool    // one more edge stands midway between two: the reference is the one before it
	First   float64 // angle of the reference: the first edge after the gap, the one before the doubled, the pulse [rad after dead centre]; NaN: found from pressure
}

// teeth, edges of a turn, and the pitch.
func (w *Wheel) teeth() int { return max(1, w.Teeth) }

func (w *Wheel) edges() int {
	if w.Doubled {
		return w.teeth() + 1
	}
	return w.teeth() - w.Missing
}

func (w *Wheel) pitch() float64 { return 2 * math.Pi / float64(w.teeth()) }

func (w *Wheel) String() string {
	text := fmt.Sprint(w.teeth())
	switch {
	case w.Doubled:
		text += "+1"
	case w.Missing > 0:
		text += fmt.Sprintf("-%d", w.Missing)
	}
	return text
}

// ParseWheel reads N, N-M or N+1. Errors are a *model.Problem.
func ParseWheel(text string) (Wheel, error) {
	problem := &model.Problem{Key: "wheel", Given: fmt.Sprintf("%q", text),
		Want: "N-M (N pitches a turn, M teeth missing), N+1 (one edge midway between two of N) or 1 (a pulse a turn)"}
	w := Wheel{First: math.NaN()}
	var rest string
	switch n, _ := fmt.Sscanf(text, "%d%s", &w.Teeth, &rest); {
	case n == 1 && w.Teeth == 1:
	case n == 2 && rest == "+1":
		w.Doubled = true
	case n == 2:
		if _, err := fmt.Sscanf(rest, "-%d", &w.Missing); err != nil || rest != fmt.Sprintf("-%d", w.Missing) || w.Missing < 1 {
			return w, problem
		}
	default:
		return w, problem
	}
	if w.Teeth != 1 && !(w.Teeth >= 4 && w.Teeth <= 720 && w.Missing <= w.Teeth-3) {
		return w, problem
	}
	return w, nil
}

func (s *Settings) check() error {
	if s.Samples == 0 {
		s.Samples = usualSamples
	}
	for _, q := range []struct {
		key          string
		v, low, high float64
		unit         string
	}{
		{"samples", float64(s.Samples), fewestSamples, maxSamples, ""}, {"rate_hz", s.Rate, 0, 1e9, " Hz"},
		{"speed_rpm", s.Speed / rpm, 0, 30000, " rpm"},
	} {
		if !(q.v >= q.low && q.v <= q.high) {
			return &model.Problem{Key: q.key, Given: fmt.Sprintf("%.6g", q.v), Want: fmt.Sprintf("%g to %g%s", q.low, q.high, q.unit)}
		}
	}
	for _, q := range []struct {
		key string
		v   float64
	}{{"slope", s.Slope}, {"offset", s.Offset}} {
		if math.IsNaN(q.v) || math.IsInf(q.v, 0) {
			return &model.Problem{Key: q.key, Given: fmt.Sprint(q.v), Want: "a number"}
		}
	}
	return nil
}

// Flaw is something that is wrong with a recording, and where.
type Flaw struct{ Where, What string }

// Report is what was found in a recording.
type Report struct {
	Rows       int64
	Duration   float64 // [s]; NaN: samples at angles
	Rate       float64 // samples a second; NaN: samples at angles
	Cycles     int     // good ones
	Lost       int     // broken ones
	Flaws      []Flaw  // the first of broken cycles, gaps and malformed rows
	FlawCount  int
	Speed      [3]float64 // of good cycles: mean, least, greatest [rad/s]; NaN: not known
	First      float64    // angle of the reference [rad after dead centre]; NaN: samples at angles
	FirstError float64    // its standard error [rad]; 0: given
	FirstHow   string
	Evidence   float64 // how much greater the hump of pressure is at firing than at gas-exchange dead centre [-]
	Warnings   []string
}

// keepFlaws is how many a report holds.
const keepFlaws = 20

func (r *Report) flaw(where, format string, a ...any) {
	r.FlawCount++
	if len(r.Flaws) < keepFlaws {
		r.Flaws = append(r.Flaws, Flaw{where, fmt.Sprintf(format, a...)})
	}
}

// NotClear is a recording that cannot be understood: what speaks against it and what
// may be the matter.
type NotClear struct{ Where, What string }

func (e *NotClear) Error() string { return strings.TrimPrefix(e.Where+": "+e.What, ": ") }
