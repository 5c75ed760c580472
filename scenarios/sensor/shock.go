package sensor

import "phasebench/scenarios/stream"

// shock is what hot gas does to the transducer: the diaphragm bows, and it reads
// too little while it is hot. The dip follows the heat flux, here p·(T − Tw),
// with a first-order lag: it is deepest after the flux is, and decays through
// expansion. Shape, lag and reference are our own choice.
type shock struct {
	lag  lag
	flux []float64
}

const (
	shockLag = 3e-3 // [s]
	coolWall = 500. // Tw [K]

	// shockFlux is the greatest lagged flux of the pump set at 2000 rpm and full
	// load, so that a depth is that of the dip there [Pa·K].
	shockFlux = 4.5e9
)

// pass takes from the samples x [Pa] of c a dip of depth [Pa] at full load.
func (s *shock) pass(x []float64, c *stream.Cycle, g *grid, depth float64) {
	s.flux = fit(s.flux, len(x))
	for i, p := range g.place {
		s.flux[i] = p.linear(c.Pressure) * max(0, p.linear(c.Temp)-coolWall)
	}
	s.lag.pass(s.flux, g.step, shockLag)
	for i, f := range s.flux {
		x[i] -= depth * f / shockFlux
	}
}
