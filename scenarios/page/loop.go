package page

import (
	"bytes"
	"context"
	"fmt"
	"io"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/loop"
	"phasebench/scenarios/record"
)

// Of loops. Our own choice.
const (
	loopCycles  = 3000 // of every run
	mostStride  = 600  // cycles of one answer
	mostMoves   = 100  // of the hand
	mostBenches = 6    // kept, each with a surface of some megabytes
	mostLives   = 8    // runs kept where they are, so that they can go on
)

// loopAnswer is some cycles of a run; the keys are a contract with the page.
type loopAnswer struct {
	From    int                `json:"from"`
	Rows    map[string]numbers `json:"rows"` // columns of the log
	Why     []string           `json:"guard_why"`
	States  []control.State    `json:"states"` // that guard_state counts from 0
	Verdict map[string]any     `json:"verdict"`
}

// loop computes cycles from..to-1 of a run.
func (p *Page) loop(ctx context.Context, q *query) (any, error) {
	from, to := q.whole("from"), q.whole("to")
	if !(from < to && to-from <= mostStride) {
		return nil, &model.Problem{Key: "to", Given: fmt.Sprint(to), Want: fmt.Sprintf("%d to %d, after from = %d", from+1, min(loopCycles, from+mostStride), from)}
	}
	r, err := p.run(ctx, q)
	if err != nil {
		return nil, err
	}
	defer p.lives.put(r)
	run := r.live.Run()
	source, err := run.Source()
	if err != nil {
		return nil, err
	}
	a := loopAnswer{From: from, Rows: map[string]numbers{}, States: loop.States()}
	columns := source.Columns()
	values := make([][]float64, len(columns))
	for row, err := range source.Rows(from, to) {
		if err != nil {
			return nil, err
		}
		for i, v := range row.Labels {
			values[i] = append(values[i], v)
		}
	}
	for i, c := range columns {
		a.Rows[c.Name] = numbers{values: values[i], unit: 1}
	}
	for i := from; i < to; i++ {
		a.Why = append(a.Why, run.Steps[i].Why)
	}
	v := r.sofar(to).Verdict()
	a.Verdict = v.Record()
	return a, nil
}

// loopCSV is the log of cycles 0 to to-1.
func (p *Page) loopCSV(ctx context.Context, q *query) (any, error) {
	to := q.whole("to")
	if to < 1 {
		return nil, &model.Problem{Key: "to", Given: fmt.Sprint(to), Want: "1 to 3000"}
	}
	r, err := p.run(ctx, q)
	if err != nil {
		return nil, err
	}
	defer p.lives.put(r)
	run := r.sofar(to)
	return p.file("phasebench-loop.csv", "text/csv", func(w io.Writer) error {
		return loop.WriteCSV(w, run, []string{"tool: phasebench " + p.version, "seed: " + fmt.Sprint(run.Seed), "caution: " + record.Caution})
	})
}

// loopTOML is the scenario file of a run, as it was moved until its cycle to.
func (p *Page) loopTOML(ctx context.Context, q *query) (any, error) {
	a, err := q.asks()
	if err == nil {
		err = loop.Write(io.Discard, a.scenario) // an engine that no file has is refused before it runs
	}
	if err != nil {
		return nil, err
	}
	r, err := p.run(ctx, q)
	if err != nil {
		return nil, err
	}
	defer p.lives.put(r)
	s := r.live.Run().Scenario
	return p.file("phasebench-loop.toml", "application/toml", func(w io.Writer) error { return loop.Write(w, s) })
}

// file is an answer that write writes.
func (p *Page) file(name, kind string, write func(w io.Writer) error) (any, error) {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return nil, err
	}
	return file{name, kind, b.Bytes()}, nil
}
