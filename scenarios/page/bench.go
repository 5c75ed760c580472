package page

import (
	"sync"

	"phasebench/model"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// engineKey is what solvers differ by.
type engineKey struct {
	name  string
	ratio float64
}

// mostEngines bounds the memory of solvers: each has gas tables of some megabytes.
const mostEngines = 6

// benched is what is kept of one engine: idle solvers, and MBT found last.
type benched struct {
	mu   sync.Mutex
	idle []*solve.Solver
	best map[model.Operating]sweep.Point // by operating point, its Spark 0
}

// benched returns what is kept of e.
func (p *Page) benched(e *model.Engine) *benched {
	return p.engines.of(engineKey{e.Name, *e.Ratio()}, func() *benched { return &benched{best: map[model.Operating]sweep.Point{}} })
}

// use lets work have a solver of e. After a panic, which may leave it in the middle of
// a cycle, nobody has it again.
func (b *benched) use(e *model.Engine, work func(s *solve.Solver) error) error {
	var s *solve.Solver
	b.mu.Lock()
	if n := len(b.idle); n > 0 {
		s, b.idle = b.idle[n-1], b.idle[:n-1]
	}
	b.mu.Unlock()
	if s == nil {
		var err error
		if s, err = solve.New(e, &solve.Settings{Motored: true}); err != nil {
			return err
		}
	}
	err := work(s)
	b.mu.Lock()
	b.idle = append(b.idle, s)
	b.mu.Unlock()
	return err
}

// at is where op is kept in best.
func at(op model.Operating) model.Operating {
	op.Spark = 0
	return op
}

// keep keeps MBT of an operating point.
func (b *benched) keep(op model.Operating, best sweep.Point) {
	b.mu.Lock()
	if len(b.best) > 100 {
		clear(b.best)
	}
	b.best[at(op)] = best
	b.mu.Unlock()
}

// mbt returns what was kept.
func (b *benched) mbt(op model.Operating) (sweep.Point, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	p, ok := b.best[at(op)]
	return p, ok
}
