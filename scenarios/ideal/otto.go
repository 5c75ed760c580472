package ideal

import (
	"fmt"

	"phasebench/model/gas"
)

// Otto is the cycle of heat at constant volume: isentropic compression 1-2,
// heat at constant volume 2-3, isentropic expansion 3-4.
//
// For ColdAir and Air exactly one of Heat and T3 is given; the other is 0.
// For Equilibrium both are 0: the charge is fuel vapour and air of frozen
// composition up to state 2, burns without heat loss at constant volume to
// chemical equilibrium in state 3 and stays in equilibrium as it expands. Heat
// is then the fuel's lower heating value, also of rich charge that cannot
// release all of it.
type Otto struct {
	Charge
	Heat float64 // [J/kg], 10 to 10e6
	T3   float64 // [K], more than T2
}

// Run solves the cycle.
func (o Otto) Run() (*Cycle, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	heat := choice{heatLimits, o.Heat}
	t3 := choice{limits{"t3_k", "K", 1, 0, hottest}, o.T3}
	if o.Gas == Equilibrium {
		if err := none("with gas "+Equilibrium+" the fuel sets the heat", heat, t3); err != nil {
			return nil, err
		}
		return o.burn()
	}
	if err := one(heat, t3); err != nil {
		return nil, err
	}
	g := o.air()
	c, err := begin(&o.Charge, g)
	if err != nil {
		return nil, err
	}
	s := c.last()
	if o.T3 != 0 {
		if err := t3.within(s.T+leastRise, hottest).check(o.T3); err != nil {
			return nil, err
		}
		c.States = append(c.States, at(g, o.T3, s.P*o.T3/s.T))
		return c.finish(c.States[2].U - c.States[1].U)
	}
	if err := heat.within(0, roomAtVolume(g, s, hottest)).check(o.Heat); err != nil {
		return nil, err
	}
	hot, err := heatedAtVolume(g, s, o.Heat)
	if err != nil {
		return nil, fmt.Errorf("ideal: heat: %w", err)
	}
	c.States = append(c.States, hot)
	return c.finish(o.Heat)
}

// leastRise is the least rise of temperature [K] that heat may cause; less
// would drown in rounding.
const leastRise = 0.1

// burn solves the fuel-air cycle.
func (o *Otto) burn() (*Cycle, error) {
	fresh, burned, heat, err := o.reacting()
	if err != nil {
		return nil, fmt.Errorf("ideal: %w", err)
	}
	c, err := begin(&o.Charge, fresh)
	if err != nil {
		return nil, err
	}
	c.burned = burned
	s := c.last()
	t, p, err := gas.FlameUV(fresh, burned, s.T, s.P)
	if err != nil {
		return nil, fmt.Errorf("ideal: combustion: %w", err)
	}
	c.States = append(c.States, at(burned, t, p))
	if c, err = c.finish(heat); err != nil {
		return nil, err
	}
	for i := 2; i < 4; i++ {
		s := &c.States[i]
		x, err := burned.Composition(s.T, s.P)
		if err != nil {
			return nil, fmt.Errorf("ideal: %w", err)
		}
		s.Composition = x[:]
	}
	return c, nil
}
