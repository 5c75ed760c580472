package traces

import (
	"fmt"

	"phasebench/model"
	"phasebench/scenarios/loop"
)

// Replay returns the bench whose rows, 0 up to but without to − from, are the cycles
// of run, a run of b, from from up to but without to: labels, and the samples that its
// controller saw. The engine is fired again as the log says, from cycle 0 on, through
// the same instruments and faults, so that nothing need be kept of a run but its log.
// A *model.Problem is about cycles that run has not.
func Replay(b *loop.Bench, run *loop.Run, from, to int) (*Bench, error) {
	n := len(run.Steps)
	if from < 0 || from >= n {
		return nil, &model.Problem{Key: "replay.from_cycle", Given: fmt.Sprint(from), Want: fmt.Sprintf("0 to %d", n-1)}
	}
	if to <= from || to > n {
		return nil, &model.Problem{Key: "replay.to_cycle", Given: fmt.Sprint(to), Want: fmt.Sprintf("%d to %d", from+1, n)}
	}
	return &Bench{Stream: b.Stream(), Setup: b.Scenario.Setup(), Seed: run.Seed, Steer: b.Again(run), First: from}, nil
}
