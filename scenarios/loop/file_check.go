package loop

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
)

// mostCycles is the longest scenario.
const mostCycles = 1_000_000

// problems lists what is not allowed in s, under the keys of files; of some parts the
// first problem only.
func (s *Scenario) problems() (all []*model.Problem) {
	note := func(err error, rename func(string) string) {
		if p := (*model.Problem)(nil); errors.As(err, &p) {
			all = append(all, &model.Problem{Key: rename(p.Key), Given: p.Given, Want: p.Want})
		} else if err != nil {
			all = append(all, &model.Problem{Key: "scenario", Given: "(" + err.Error() + ")", Want: "one that can run"})
		}
	}
	same := func(key string) string { return key }
	to := func(key string) func(string) string { return func(string) string { return key } }
	for i := range s.Legs {
		if err := s.Legs[i].Operating.Check(s.Engine); err != nil {
			note(err, func(key string) string { return fmt.Sprintf("at[%d].%s", i, key) })
			return all // rows after it have the same, unless they say otherwise
		}
	}
	if len(s.Legs) > 0 {
		if n := s.Legs[0].Cycle; n != 0 {
			note(bad("at[0].cycle", n, "0 in the first row"), same)
		}
		if n := s.Legs[0].Over; n != 0 {
			note(bad("at[0].over_cycles", n, "0 in the first row"), same)
		}
	}
	for i := range s.Legs {
		if n := s.Legs[i].Cycle; n > mostCycles { // sums of it stay far from the end of whole numbers
			note(bad(fmt.Sprintf("at[%d].cycle", i), n, fmt.Sprintf("at most %d", mostCycles)), same)
		}
	}
	set := &s.Sensing
	_, err := reader.New(set.Reader, set.Signal, s.Engine, set.Settings)
	note(err, func(key string) string {
		switch key {
		case "reader":
			return "reader.name"
		case "reader.from_deg":
			return "reader.window_from_deg"
		case "reader.to_deg":
			return "reader.window_to_deg"
		}
		return key
	})
	if set.Average != "" {
		_, err := reader.NewCombiner(set.Average, set.Over)
		note(err, func(key string) string {
			if key == "combiner" {
				return "reader.average"
			}
			return "reader.over_cycles"
		})
	}
	for i := range set.Faults {
		if key, err := s.faultProblem(set.Faults[i]); err != nil {
			note(err, to(fmt.Sprintf("fault[%d].%s", i, key)))
		}
	}
	if s.Law.Name != Outside {
		_, err := control.New(s.Law.Name, s.Law.Numbers)
		note(err, func(key string) string {
			if key == "law" {
				return "law.name"
			}
			return key
		})
	}
	if s.Law.Knock != "" {
		_, err := control.New(s.Law.Knock, s.Law.KnockOf)
		note(err, func(key string) string {
			if key == "law" {
				return "law.knock"
			}
			return strings.Replace(key, "law.", "law.knock_numbers.", 1)
		})
	}
	_, err = control.NewGuard(s.Guard, nil)
	note(err, same)
	note(s.tableProblem(), same)
	if s.Knobs != nil {
		note(s.Knobs.Check(), func(key string) string { return strings.Replace(key, "knob.", "knobs.", 1) })
	}
	if len(all) > 0 {
		return all // Check would find some of them again
	}
	note(s.Check(), func(key string) string {
		switch key {
		case "law":
			return "law.name"
		case "actuator.apart":
			return "actuator.plugs"
		}
		return key
	})
	return all
}

// tableProblem returns a *model.Problem about a base map that is given, or nil.
func (s *Scenario) tableProblem() error {
	t := s.Base.Table
	if t == nil {
		return nil
	}
	op := s.Engine.Point
	for _, x := range []struct {
		key   string
		all   []float64
		at    *float64
		scale float64
	}{{"speeds_rpm", t.Speeds, &op.Speed, rpm}, {"maps_kpa", t.MAPs, &op.MAP, 1e3}} {
		if len(x.all) == 0 {
			return bad("base."+x.key, "[]", "one or more")
		}
		for i, v := range x.all {
			if i > 0 && !(v > x.all[i-1]) {
				return bad("base."+x.key, v/x.scale, "an ascending list")
			}
			*x.at = v
			if err := inList("base."+x.key, op.Check(s.Engine)); err != nil {
				return err
			}
		}
	}
	if len(t.Spark) != len(t.Speeds) {
		return bad("base.spark_deg_btdc", len(t.Spark), fmt.Sprintf("a list for each of %d speeds", len(t.Speeds)))
	}
	for _, row := range t.Spark {
		if len(row) != len(t.MAPs) {
			return bad("base.spark_deg_btdc", len(row), fmt.Sprintf("in each list a spark for each of %d manifold pressures", len(t.MAPs)))
		}
		for _, op.Spark = range row {
			if err := inList("base.spark_deg_btdc", op.Check(s.Engine)); err != nil {
				return err
			}
		}
	}
	return nil
}

// inList is a problem of one value of the list key.
func inList(key string, err error) error {
	if p := (*model.Problem)(nil); errors.As(err, &p) {
		return bad(key, p.Given, "each "+p.Want)
	}
	return err
}

// faultProblem returns the key at fault in f, and a *model.Problem, or nil.
func (s *Scenario) faultProblem(f sensor.Fault) (key string, err error) {
	setup := s.setup()
	setup.Faults = []sensor.Fault{f}
	if _, err = sensor.New(s.Engine, setup, 0); err == nil {
		return "", nil
	}
	trial := f
	trial.From, trial.To = 0, -1
	switch {
	case !slices.ContainsFunc(sensor.Kinds(), func(k sensor.FaultKind) bool { return k.Name == f.Name }):
		return "name", err
	case parseable(trial) && f.From < 0:
		return "from_cycle", err
	case parseable(trial) && !parseable(f):
		return "to_cycle", err
	case !parseable(trial):
		return "severity", err
	}
	return "name", err
}

func parseable(f sensor.Fault) bool {
	_, err := sensor.ParseFault(f.String())
	return err == nil && !math.IsNaN(f.Severity)
}
