package trust

import (
	"context"
	"fmt"
	"math"
	"slices"

	"phasebench/model"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/stream"
)

// Example is one cycle as a reader saw it beside the truth. Its slices are the
// caller's own.
type Example struct {
	Cycle   int            // of the stream
	Spark   float64        // [rad]
	Read    reader.Reading // what the reader made of it
	Truth   float64        // see stream.Truth.Hump [rad]; NaN for a misfire
	Wrong   bool           // on the wrong side, as Cell.Wrong counts
	Misfire bool

	LPP, Peak float64   // location of the true peak pressure [rad], and that pressure [Pa]
	Theta     []float64 // [rad]: of Pressure, and what the encoder believes those of Samples to be
	Samples   []float64 // the signal as the reader got it: pressure [Pa] or ion current [A]
	Pressure  []float64 // the true one, without the ringing of knock [Pa]
}

// Worst carries out the k-th spark of p, from 0, at one speed [rad/s] and manifold
// pressure [Pa] for the first of p.Readers, and returns the cycle that misled most.
// That is the one with the greatest |reading − truth|, of the readings on the wrong
// side of aim if there are any. Where no cycle has both a reading and a true peak,
// because all declined or misfired, it is the first. Of equals it is the first.
//
// It is a cycle that Run counts in that cell, aim being Node.Aim [rad] there. Only
// the spark's own cycles are made and the stream.Lead ones before them: what Run's
// stream handed on from earlier has died away to 1e-8 by the first of them, and
// rounding may move a pressure by 2e-5 of it (see TestLead of package stream). Only a
// charge amplifier that leaks, the fault amplifier-droop, may remember for longer.
//
// A k or an aim that is not allowed, and all that Plan.Check, the readers and the
// instruments refuse, comes back as a *model.Problem.
func (p *Plan) Worst(ctx context.Context, speed, mapPa float64, k int, aim float64) (*Example, error) {
	plan, err := p.ready()
	if err != nil {
		return nil, err
	}
	if k < 0 || k >= len(plan.Sparks) {
		return nil, &model.Problem{Key: "spark_index", Given: fmt.Sprint(k), Want: fmt.Sprintf("0 to %d", len(plan.Sparks)-1)}
	}
	if !(math.Abs(aim) <= 2*math.Pi) { // where readings are
		return nil, &model.Problem{Key: "aim_deg_atdc", Given: fmt.Sprint(aim / deg), Want: "-360 to 360 deg"}
	}
	l, err := newLane(ctx, plan, plan.Readers[0], nil)
	if err != nil {
		return nil, err
	}
	defer l.close()
	var worst *Example
	err = plan.walk(ctx, speed, mapPa, k, k+1, []*lane{l}, func(c *stream.Cycle, _, _ int, o observation) {
		wrong := wrongSide(&o, plan.Target, aim)
		if worst == nil || worse(&o, wrong, worst) {
			worst = &Example{
				Cycle: c.Number, Spark: plan.Sparks[k], Read: l.reading, Truth: o.truth, Wrong: wrong, Misfire: c.Misfire, LPP: c.LPP, Peak: c.Peak,
				Theta: slices.Clone(c.Theta), Samples: slices.Clone(l.in.Values), Pressure: slices.Clone(c.Pressure),
			}
		}
	})
	if err != nil {
		return nil, err
	}
	return worst, nil
}

// worse tells whether o, on the wrong side or not, misleads more than e does.
func worse(o *observation, wrong bool, e *Example) bool {
	now, before := math.Abs(o.read-o.truth), math.Abs(e.Read.Angle-e.Truth)
	switch {
	case math.IsNaN(now):
		return false
	case math.IsNaN(before):
		return true
	case wrong != e.Wrong:
		return wrong
	}
	return now > before
}
