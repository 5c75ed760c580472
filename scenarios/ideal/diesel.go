package ideal

import "fmt"

// Diesel is the cycle of heat at constant pressure: isentropic compression
// 1-2, heat at constant pressure 2-3, isentropic expansion 3-4. The gas is
// ColdAir or Air. Exactly one of Cutoff, Heat and T3 is given; the others
// are 0.
type Diesel struct {
	Charge
	Cutoff float64 // v3/v2 [-], 1.0001 to Ratio
	Heat   float64 // [J/kg], 10 to 10e6
	T3     float64 // [K], more than T2
}

// cutoffLimits are those of a cut-off ratio that brings all the heat.
var cutoffLimits = limits{"cutoff", "", 1, 1.0001, 50}

// Run solves the cycle.
func (d Diesel) Run() (*Cycle, error) {
	cutoff := choice{cutoffLimits, d.Cutoff}
	heat := choice{heatLimits, d.Heat}
	t3 := choice{limits{"t3_k", "K", 1, 0, hottest}, d.T3}
	if err := firstOf(d.check(), d.withoutFuel("Diesel"), one(cutoff, heat, t3)); err != nil {
		return nil, err
	}
	g := d.air()
	c, err := begin(&d.Charge, g)
	if err != nil {
		return nil, err
	}
	s := c.last()
	hot := hotLimit(s, c.States[0].V)
	switch {
	case d.Cutoff != 0:
		if err := cutoff.within(0, hot/s.T).check(d.Cutoff); err != nil {
			return nil, err
		}
		c.States = append(c.States, at(g, s.T*d.Cutoff, s.P))
	case d.T3 != 0:
		if err := t3.within(s.T+leastRise, hot).check(d.T3); err != nil {
			return nil, err
		}
		c.States = append(c.States, at(g, d.T3, s.P))
	default:
		if err := heat.within(0, roomAtPressure(g, s, hot)).check(d.Heat); err != nil {
			return nil, err
		}
		third, err := heatedAtPressure(g, s, d.Heat)
		if err != nil {
			return nil, fmt.Errorf("ideal: heat: %w", err)
		}
		c.States = append(c.States, third)
		return c.finish(d.Heat)
	}
	return c.finish(c.States[2].enthalpy() - c.States[1].enthalpy())
}
