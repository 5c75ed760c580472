// Package fit makes an engine of recorded pressure: where dead centre really is, the
// compression ratio, how much heat the walls take, how much charge there is and how it
// burns, each with its error, so that the model lies on the recording.
//
// It moves parameters of the model, all of its other numbers being taken as true. What
// the model lacks is in no error; the residuals show it.
package fit

import (
	"context"
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/scenarios/indicate"
	"phasebench/solve"
)

const deg = math.Pi / 180

// Data are recorded cycles of one operating point, as recorded.
type Data struct {
	Theta   []float64   // evenly spaced from the start of a cycle to one step before its end [rad]
	Fired   [][]float64 // [Pa], their zero may be anywhere; 2 or more, in order
	Motored [][]float64 // the same without a spark; none, or 2 or more

	Misfires int // cycles among the fired ones that did not burn and are not in Fired
}

// Settings says how to fit; the zero value is usual.
type Settings struct {
	Starts  int    // from so many places, 1 to 4; 0: 4
	Profile bool   // also profiles of dead centre and compression ratio
	Imitate bool   // also find knobs with which cycles differ as the recorded ones do, see Imitation
	Seed    uint64 // of the cycles that imitate
}

// The parameters, in the order of Result.Parameters.
const (
	Shift       = iota // what the angles of the recording read too much [rad]
	Ratio              // compression ratio [-]
	Wall               // wall.factor [-]
	Charge             // mass of the charge over that of the engine given [-]
	Development        // spark to 10 % burned [rad]
	Rapid              // 10 to 90 % burned [rad]
	ZeroFired          // to be added to recorded pressure of fired cycles [Pa]
	ZeroMotored        // the same of motored cycles; only with some
)

// Parameter is a number that was fitted.
type Parameter struct {
	Name       string
	Unit       string  // that of people
	By         float64 // one Unit in SI
	Start      float64
	Value      float64
	Error      float64    // standard error from the scatter of the cycles
	Interval   [2]float64 // that covers the truth 95 times in 100, if the model is right
	Low, High  float64    // bounds
	AtBound    bool       // it would go on: the recording is not of such an engine, or does not tell
	Correlated string     // the parameter whose error goes with this one's most, and how
}

// Result is a fit.
type Result struct {
	Engine      *model.Engine // the one given with what was found put into it
	Parameters  []Parameter
	Correlation [][]float64 // of the errors
	Profiles    []Profile
	Imitation   *Imitation // nil unless asked for
	Starts      []Start
	ChargeMass  indicate.Number // [kg]
	Heating     float64         // of the charge on its way in, that makes it [K]
	HeatingOut  bool            // and that is not in the range of engine files: the engine has the end of it

	Theta    []float64 // of what follows
	Measured []float64 // mean of fired cycles, zero and angle corrected [Pa]
	Model    []float64 // what the model has there
	Counts   []bool    // these samples took part
	Motored  [2][]float64
	RMS      float64 // of Measured − Model where samples count [Pa]
	Misfit   float64 // how many times what the scatter of the cycles explains is left, fired and motored; about 1: all is explained
}

// Start is a place that a fit began from, and what came of it.
type Start struct {
	Ratio, Wall, Shift float64
	Cost               float64 // half the sum of squares over their variance [-]
	Note               string  // why it failed
}

// Profile is how much worse the fit becomes as one parameter is held elsewhere and all
// others follow.
type Profile struct {
	Parameter int
	At, Worse []float64 // value [SI]; cost less the least [-]
}

// rounds is how often the charge is made anew for the engine found so far. Our own
// choice: the third changes nothing that counts.
const rounds = 3

// Fit fits e, which ran at its own point, to d; nil settings are usual. What is not
// allowed comes back as a *model.Problem.
func Fit(ctx context.Context, e *model.Engine, d *Data, set *Settings) (*Result, error) {
	if set == nil {
		set = &Settings{}
	}
	if set.Starts == 0 {
		usual := *set
		usual.Starts = 4
		set = &usual
	}
	if !(set.Starts >= 1 && set.Starts <= len(places)) {
		return nil, &model.Problem{Key: "starts", Given: fmt.Sprint(set.Starts), Want: fmt.Sprintf("1 to %d", len(places))}
	}
	if err := d.check(); err != nil {
		return nil, err
	}
	p, err := newProblem(e, d)
	if err != nil {
		return nil, err
	}
	out := &Result{}
	best := p.start
	for round := range rounds {
		if err := p.charge(best); err != nil {
			return nil, err
		}
		if err := p.bend(best); err != nil {
			return nil, err
		}
		cost := math.Inf(1)
		found := best
		for k := range set.Starts {
			if round > 0 && k > 0 {
				break
			}
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			from := best
			if round == 0 {
				from = p.place(k)
			}
			x, c, err := p.minimise(from, -1)
			if round == 0 {
				s := Start{Ratio: from[Ratio], Wall: from[Wall], Shift: from[Shift], Cost: c}
				if err != nil {
					s.Note = err.Error()
				}
				out.Starts = append(out.Starts, s)
			}
			if err == nil && c < cost {
				cost, found = c, x
			}
		}
		if math.IsInf(cost, 1) {
			return nil, fmt.Errorf("fit: no start comes to an end: %s", out.Starts[0].Note)
		}
		best = found
	}
	if !set.Imitate {
		return out, p.tell(ctx, out, best, set)
	}
	if err := p.tell(ctx, out, best, &Settings{}); err != nil {
		return nil, err
	}
	if out.Imitation, err = imitate(ctx, out, d, set.Seed); err != nil {
		return nil, err
	}
	// The mean of cycles that differ as these do is known now, whatever they differ by.
	if err := p.ragged(ctx, out, best, set.Seed); err != nil {
		return nil, err
	}
	if err := p.charge(best); err != nil {
		return nil, err
	}
	if best, _, err = p.minimise(best, -1); err != nil {
		return nil, err
	}
	again := &Result{Starts: out.Starts, Imitation: out.Imitation}
	return again, p.tell(ctx, again, best, set)
}

func (d *Data) check() error {
	n := len(d.Theta)
	if n < 180 || n > 1440 {
		return &model.Problem{Key: "samples", Given: fmt.Sprint(n), Want: "180 to 1440 of a cycle"}
	}
	if len(d.Fired) < 2 {
		return &model.Problem{Key: "cycles", Given: fmt.Sprintf("%d fired", len(d.Fired)), Want: "2 or more"}
	}
	if len(d.Motored) == 1 {
		return &model.Problem{Key: "cycles", Given: "1 motored", Want: "none, or 2 or more"}
	}
	for _, set := range [][][]float64{d.Fired, d.Motored} {
		for i, p := range set {
			if len(p) != n {
				return fmt.Errorf("fit: cycle %d has %d samples, want %d", i, len(p), n)
			}
			for _, v := range p {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					return fmt.Errorf("fit: cycle %d has a pressure that is no number", i)
				}
			}
		}
	}
	return nil
}

// forward is a model's engine as fits move it: its burn is given by two angles or by
// Wiebe numbers, whatever made them.
func forward(e *model.Engine) (*model.Engine, error) {
	f := *e
	if f.Burn.Law == model.BurnWiebe {
		return &f, nil
	}
	s, err := solve.New(e, nil)
	if err != nil {
		return nil, err
	}
	var c solve.Cycle
	if err := s.Run(&e.Point, &c); err != nil {
		return nil, err
	}
	if !c.Lit {
		return nil, &model.Problem{Key: "spark_deg", Given: fmt.Sprintf("%.4g", e.Point.Spark/deg), Want: "a spark that lights the charge: " + c.Unlit}
	}
	f.Burn.Law, f.Burn.Development, f.Burn.Rapid = model.BurnFixed, c.Development, c.Rapid
	f.Burn.Base = model.Operating{}
	return &f, nil
}
