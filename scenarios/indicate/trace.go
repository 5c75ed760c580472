package indicate

import (
	"math"
	"slices"
)

// Trace is a recorded cycle as Cycle saw it: angles and zero corrected, low-passed.
type Trace struct {
	Theta    []float64 // [rad]
	Pressure []float64 // [Pa]
	Volume   []float64 // [m³]
	Burned   []float64 // share of what could burn that the first law says has burned [-]; NaN outside the sealed part
}

// Trace returns what Cycle would make numbers of. Its slices belong to the caller.
func (x *Indicator) Trace(theta, p []float64) (*Trace, error) {
	if _, err := x.Cycle(theta, p); err != nil {
		return nil, err
	}
	for i := range theta {
		x.theta[i] = theta[i] - x.set.Shift // Cycle left them shifted by an error more
	}
	zero := x.zero().Value
	for i := range theta {
		x.v[i], _ = x.chamber.Volume(x.theta[i])
		x.p[i] = x.smooth[i] + zero
	}
	from, to := x.index(math.Max(compFrom, x.shuts+clearOfValves)), x.index(x.opens-clearOfValves)
	if err := x.closed.ReleaseZones(x.theta[from:to], x.p[from:to], x.burned[from:to], x.walls[from:to]); err != nil {
		return nil, err
	}
	out := &Trace{slices.Clone(x.theta), slices.Clone(x.p), slices.Clone(x.v), make([]float64, len(theta))}
	begin := x.burned[min(max(x.index(-x.op.Spark), from), to-1)]
	for i := range out.Burned {
		out.Burned[i] = math.NaN()
		if i >= from && i < to {
			out.Burned[i] = x.burned[i] - begin
		}
	}
	return out, nil
}
