package loop

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
)

// sameEngine is one for all scenarios that are to share what is known of it.
var sameEngine = sync.OnceValues(func() (*model.Engine, error) { return model.Load("pump-set") })

// small is a battery of two short scenarios at one point, with a fixed base map, every
// cycle solved directly: no surface is worth its nodes.
func small(t *testing.T) []Scenario {
	t.Helper()
	e, err := sameEngine()
	require.NoError(t, err)
	s := controlled(e, reader.Pressure)
	s.Base.Table = &control.Table{Speeds: []float64{1}, MAPs: []float64{1}, Spark: [][]float64{{22 * deg}}}
	var all []Scenario
	for _, b := range Battery(s) {
		switch b.Name {
		case "hand-advances":
			b.Legs[1].Cycle = 20
		case "fault-tdc-offset":
			b.Sensing.Faults[0].From, b.Sensing.Faults[0].To = 20, 30
		default:
			continue
		}
		b.Cycles, b.Exact = 40, true
		all = append(all, b)
	}
	require.Len(t, all, 2)
	return all
}

// known keeps the one node that small has, for all tests.
var known = map[view]func() (Node, error){}

// knowing returns benches that know it, and nothing else.
func knowing() *benches {
	b := &benches{believed: true}
	b.nodes.all = known
	return b
}

// The outcomes are the same however many work at them, and those of runs alone.
func TestRunBatteryWorkers(t *testing.T) {
	seeds := []uint64{1, 2}
	of := func(workers int) []Outcome {
		told := 0
		all, err := knowing().runAll(context.Background(), small(t), seeds, workers, func(done, total int) {
			told++
			assert.Equal(t, []int{told, 4}, []int{done, total})
		})
		require.NoError(t, err)
		assert.Equal(t, 4, told)
		return all
	}
	text := func(v Verdict) string { return fmt.Sprintf("%+v", v) } // NaN is not equal to itself
	one, three := of(1), of(3)
	for i := range one {
		for k := range seeds {
			assert.Equal(t, text(one[i].Verdicts[k]), text(three[i].Verdicts[k]))
			assert.Positive(t, one[i].Verdicts[k].Ranged, "the believed range is known though no guard asks")
		}
		assert.NotEqual(t, text(one[i].Verdicts[0]), text(one[i].Verdicts[1]), "another seed")
		assert.Equal(t, one[i].Why, three[i].Why)
	}
	s := small(t)[1]
	b, err := NewBench(context.Background(), &s)
	require.NoError(t, err)
	b.Envelope, err = knowing().nodes.envelope(context.Background(), &s)
	require.NoError(t, err)
	run, err := b.Run(context.Background(), 2, nil)
	require.NoError(t, err)
	assert.Equal(t, text(run.Verdict()), text(one[1].Verdicts[1]))
}

func TestRunBatteryRefuses(t *testing.T) {
	all := small(t)
	all[1].Cycles = 3
	_, err := RunBattery(context.Background(), all[1:], []uint64{1}, 2, nil)
	var p *model.Problem
	require.ErrorAs(t, err, &p)
	assert.Equal(t, "cycles", p.Key)
	assert.ErrorContains(t, err, "fault-tdc-offset, seed 1")

	ctx, stop := context.WithCancel(context.Background())
	stop()
	_, err = RunBattery(ctx, small(t), []uint64{1}, 2, nil)
	assert.ErrorIs(t, err, context.Canceled)
}

// An engine is made ready once for all scenarios that can share it, and let go after
// the last run.
func TestBenchesShare(t *testing.T) {
	all := small(t)
	other := all[0]
	other.Base.Retard = deg
	all = append(all, other)
	b := knowing()
	for i := range all {
		b.expect(context.Background(), &all[i], 1)
	}
	require.Len(t, b.all, 2)
	var made atomic.Int64
	plain := b.all[0].make
	b.all[0].make = func() (*Bench, error) { made.Add(1); return plain() }
	for i := range all[:2] {
		require.NotNil(t, b.all[0].make)
		_, err := b.run(context.Background(), &all[i], 1)
		require.NoError(t, err)
	}
	assert.EqualValues(t, 2, made.Load(), "both asked the same")
	assert.Nil(t, b.all[0].make)
	assert.Len(t, known, 1, "one operating point, found once for all tests here")
}

func TestOutcomeJudge(t *testing.T) {
	of := func(v Verdict, failure error) Outcome {
		o := Outcome{Seeds: []uint64{7, 8, 9}, Verdicts: []Verdict{{}, v, v}, Failures: []error{nil, failure, nil}}
		o.judge()
		return o
	}
	good := of(Verdict{Part: Part{Misfires: 3, Beyond: 9, BeyondFar: 9, WrongSide: 100}}, nil)
	assert.True(t, good.Pass)
	assert.Empty(t, good.Why)
	for _, c := range []struct {
		v       Verdict
		failure error
		want    string
	}{
		{Verdict{Runaway: true}, nil, "ran away in 2 of 3 runs, first with seed 8"},
		{Verdict{Part: Part{OverPeak: 1}}, nil, "went over the ceiling of peak pressure in 2 of 3 runs, first with seed 8"},
		{Verdict{Part: Part{OverKnock: 2}}, nil, "went over the ceiling of knock in 2 of 3 runs, first with seed 8; 4 cycles in all"},
		{Verdict{Part: Part{DrivenOut: 5}}, nil, "was driven out of the believed range in 2 of 3 runs, first with seed 8; 10 cycles in all"},
		{Verdict{}, errors.New("gone"), "lost its outside law in 1 of 3 runs, first with seed 8"},
	} {
		o := of(c.v, c.failure)
		assert.False(t, o.Pass)
		assert.Equal(t, []string{c.want}, o.Why)
	}
}
