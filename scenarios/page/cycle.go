package page

import (
	"context"
	"math"
	"strconv"

	"phasebench/scenarios/record"
	"phasebench/solve"
)

const deg = math.Pi / 180

// numbers is a row of numbers in JSON, in a unit, to so many digits (0: nine); null for
// what is none.
type numbers struct {
	values []float64
	unit   float64
	digits int
}

// MarshalJSON implements json.Marshaler.
func (n numbers) MarshalJSON() ([]byte, error) {
	out := make([]byte, 0, 12*len(n.values)+2)
	digits := n.digits
	if digits == 0 {
		digits = 9
	}
	out = append(out, '[')
	for i, v := range n.values {
		if i > 0 {
			out = append(out, ',')
		}
		if v /= n.unit; math.IsNaN(v) || math.IsInf(v, 0) {
			out = append(out, "null"...)
			continue
		}
		out = strconv.AppendFloat(out, v, 'g', digits, 64)
	}
	return append(out, ']'), nil
}

// cycleAnswer is one cycle; the keys are a contract with the page.
type cycleAnswer struct {
	record.Cycle `json:"cycle"`
	Trace        map[string]numbers  `json:"trace"`
	Energy       map[string]*float64 `json:"energy"`
	Why          []string            `json:"why"`
}

// traced are the columns of a trace that the page draws.
var traced = []string{"theta_deg_atdc", "volume_cm3", "pressure_bar", "motored_bar", "burned_fraction", "heat_release_j_per_deg"}

// cycle computes one cycle afresh.
func (p *Page) cycle(_ context.Context, q *query) (any, error) {
	b := p.benched(q.engine)
	var c solve.Cycle
	swept := 0.
	if err := b.use(q.engine, func(s *solve.Solver) error {
		swept = s.Chamber().Swept()
		return s.Run(&q.engine.Point, &c)
	}); err != nil {
		return nil, err
	}
	split := splitOf(&c, swept)
	a := cycleAnswer{Cycle: record.Of(&c.Operating, c.Lit, &c.Indicators), Trace: map[string]numbers{}, Energy: split.record(), Why: why(&c, &split)}
	for _, name := range traced {
		values, unit := record.Samples(&c, name)
		a.Trace[name] = numbers{values: values, unit: unit}
	}
	if best, ok := b.mbt(q.engine.Point); ok {
		a.Why = append(a.Why, against(&c, &best)...)
	}
	return a, nil
}

// split is where the energy of one cycle goes [J].
type split struct{ fuel, compression, expansion, pumping, wall, exhaust float64 }

// splitOf splits the energy of c. Work of compression and expansion are those of the
// samples before and after firing dead centre, half a cycle in all; what neither works nor heats the walls
// leaves with the exhaust, unburned fuel included.
func splitOf(c *solve.Cycle, swept float64) split {
	s := split{pumping: c.PMEP * swept}
	gross := c.IMEPGross * swept
	s.fuel = gross / c.Efficiency
	s.wall = c.HeatLoss * s.fuel
	for i := 1; i < len(c.Theta); i++ {
		if from, to := c.Theta[i-1], c.Theta[i]; from >= c.Theta[0]/2 && to <= 1e-9 {
			s.compression += (c.Pressure[i] + c.Pressure[i-1]) / 2 * (c.Volume[i] - c.Volume[i-1])
		}
	}
	s.expansion = gross - s.compression
	s.exhaust = s.fuel - gross - s.pumping - s.wall
	return s
}

func (s *split) record() map[string]*float64 {
	return map[string]*float64{"fuel_j": record.Number(s.fuel, 1), "work_compression_j": record.Number(s.compression, 1), "work_expansion_j": record.Number(s.expansion, 1),
		"work_pumping_j": record.Number(s.pumping, 1), "wall_heat_j": record.Number(s.wall, 1), "exhaust_j": record.Number(s.exhaust, 1)}
}
