package loop

import (
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// Setup returns the instruments that a controller of s sees the engine through, with
// their faults.
func (s *Scenario) Setup() sensor.Setup { return s.setup() }

// Again returns the hand that fires the cycles of a stream as run did: its sparks,
// and its manifold pressure where a governor moved the throttle. On the stream of b
// with the seed of run it makes the cycles of run again. Asked for a cycle that
// run has not it panics: that is a programmer's mistake.
func (b *Bench) Again(run *Run) stream.Steer {
	return func(n int, op *model.Operating) {
		if n >= len(run.Steps) {
			panic(fmt.Sprintf("loop: cycle %d of a run of %d", n, len(run.Steps)))
		}
		s := &run.Steps[n]
		op.MAP, op.Spark = s.MAP, s.Fired.Leading
		if !math.IsNaN(s.Fired.Trailing) {
			op.Split = s.Fired.Leading - s.Fired.Trailing
		}
	}
}
