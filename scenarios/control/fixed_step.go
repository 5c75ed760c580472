package control

import "math"

var fixedStepKind = Kind{Name: "fixed-step", About: "averages some cycles, then moves one step",
	Numbers: []Number{
		{"cycles", "readings averaged for a step", "cycles", 1, 1, 10000, 16},
		{"step_deg", "a step", "deg", deg, 0.01, 10, 0.5},
		{"deadband_deg", "a mean error no greater is left alone", "deg", deg, 0, 20, 1},
	},
	make: func(v values) Law {
		return &fixedStep{cycles: int(v["cycles"]), step: v["step_deg"], dead: v["deadband_deg"]}
	}}

// fixedStep averages the error of some readings; if the mean is beyond a deadband it
// moves by one step towards the target, and begins anew either way. It comes to rest
// if a step moves the peak by less than twice the deadband. The mean of n readings that
// scatter by σ scatters by σ/√n: the usual numbers put the deadband at that of 3.5 deg (our
// own choice). A reading that declined does not count.
type fixedStep struct {
	cycles     int
	step, dead float64
	count      int
	sum        float64 // of errors [rad]
}

// Reset implements Law.
func (l *fixedStep) Reset() { l.count, l.sum = 0, 0 }

// Next implements Law.
func (l *fixedStep) Next(s *Seen) Order {
	move := 0.
	if e := s.Reading.Angle - s.Target; finite(e) {
		l.count++
		l.sum += e
		if l.count == l.cycles {
			if mean := beyond(l.sum/float64(l.count), l.dead); mean != 0 {
				move = math.Copysign(l.step, mean)
			}
			l.Reset()
		}
	}
	return together(s.Ordered.Leading + move)
}
