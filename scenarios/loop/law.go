package loop

import (
	"context"
	"errors"
	"time"

	"phasebench/scenarios/control"
)

// adviserCycles is over how many cycles a law that only advises looks. Our own choice.
const adviserCycles = 32

// checkLaw checks the law of s without starting any program.
func (s *Scenario) checkLaw() error {
	l := &s.Law
	if l.Name == Outside {
		switch {
		case (len(l.Program) == 0) == (l.Address == ""):
			return bad("law.program", l.Program, "a program or a tcp address, one of both")
		case !(l.Limit >= time.Millisecond && l.Limit <= time.Minute):
			return bad("law.limit_ms", l.Limit.Milliseconds(), "1 to 60000")
		}
	} else if _, err := control.New(l.Name, l.Numbers); err != nil {
		return err
	}
	needs := []string{l.Name}
	if l.Knock != "" {
		if _, err := control.New(l.Knock, l.KnockOf); err != nil {
			return err
		}
		needs = append(needs, l.Knock)
	}
	for _, name := range needs {
		kind, err := control.KindOf(name)
		if err != nil {
			continue // outside: it says what it gets
		}
		for _, n := range kind.Needs {
			switch {
			case n == control.NeedPressure && !s.Sensing.pressure():
				return bad("reader.pressure", false, "true for the law "+name)
			case n == control.NeedKnock && !s.Sensing.Knock:
				return bad("reader.knock", false, "true for the law "+name)
			case n == control.NeedAirflow && !s.holds():
				return bad("law", name, "a torque that is held, at.hold_torque_nm")
			}
		}
	}
	return nil
}

// holds tells whether a governor holds torque in all of s.
func (s *Scenario) holds() bool {
	for i := range s.Legs {
		if !(s.Legs[i].HoldTorque > 0) {
			return false
		}
	}
	return true
}

// law makes the law of s, and what ends it. What it tells about itself goes into run.
func (s *Scenario) law(ctx context.Context, theta []float64, run *Run) (control.Law, func() error, error) {
	l := &s.Law
	closing := func() error { return nil }
	if l.Mode == AdviseOnly {
		return control.Advise(adviserCycles), closing, nil
	}
	var law control.Law
	if l.Name == Outside {
		terms := control.Terms{Binary: l.Binary, Samples: l.Samples, Limit: l.Limit, Signal: s.Sensing.Signal, Theta: theta,
			Plugs: int(s.Engine.Burn.Plugs), Least: s.Actuator.Least, Most: s.Actuator.Most}
		var out *control.Outside
		var err error
		if l.Address != "" {
			out, err = control.DialOutside(ctx, l.Address, terms)
		} else {
			out, err = control.StartOutside(ctx, l.Program, terms)
		}
		if err != nil {
			return nil, nil, err
		}
		run.Told = out.Name()
		law, closing = out, out.Close
	} else {
		var err error
		if law, err = control.New(l.Name, l.Numbers); err != nil {
			return nil, nil, err
		}
	}
	if l.Knock != "" {
		knock, err := control.New(l.Knock, l.KnockOf)
		if err != nil {
			return nil, nil, errors.Join(err, closing())
		}
		law = control.HandOver(law, knock)
	}
	if l.Mode == RetardOnly {
		law = control.RetardOnly(law)
	}
	return law, closing, nil
}
