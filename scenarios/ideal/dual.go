package ideal

import (
	"fmt"

	"phasebench/model/gas"
)

// Dual is the cycle of heat at constant volume and then at constant pressure:
// isentropic compression 1-2, heat at constant volume 2-3, heat at constant
// pressure 3-4, isentropic expansion 4-5. The gas is ColdAir or Air. Either
// PressureRatio and Cutoff are given, or Heat and Share; the others are 0.
type Dual struct {
	Charge
	PressureRatio float64 // p3/p2 [-], >= 1
	Cutoff        float64 // v4/v3 [-], 1 to Ratio; more than 1 if PressureRatio is 1

	Heat  float64 // in all [J/kg], 10 to 10e6
	Share float64 // of Heat, at constant volume [-], 0 to 1
}

// Run solves the cycle.
func (d Dual) Run() (*Cycle, error) {
	if err := firstOf(d.check(), d.withoutFuel("dual"), d.given()); err != nil {
		return nil, err
	}
	g := d.air()
	c, err := begin(&d.Charge, g)
	if err != nil {
		return nil, err
	}
	if d.Heat != 0 {
		err = d.byHeat(c, g)
	} else {
		err = d.byRatios(c, g)
	}
	if err != nil {
		return nil, err
	}
	s := c.States
	return c.finish(s[2].U - s[1].U + s[3].enthalpy() - s[2].enthalpy())
}

var (
	risesLimits = limits{"pressure_ratio", "", 1, 1, 100}
	shareLimits = limits{"constant_volume_share", "", 1, 0, 1}
)

// given checks which values are given.
func (d *Dual) given() error {
	rise, cutoff := choice{risesLimits, d.PressureRatio}, choice{cutoffLimits, d.Cutoff}
	if d.Heat == 0 {
		return firstOf(one(rise, choice{heatLimits, d.Heat}),
			none("it goes with heat_kj_kg", choice{shareLimits, d.Share}))
	}
	return firstOf(none("heat_kj_kg is given", rise, cutoff), shareLimits.check(d.Share))
}

// byRatios appends states 3 and 4.
func (d *Dual) byRatios(c *Cycle, g gas.Gas) error {
	s := c.last()
	if err := risesLimits.within(0, hottest/s.T).check(d.PressureRatio); err != nil {
		return err
	}
	third := at(g, s.T*d.PressureRatio, s.P*d.PressureRatio)
	cutoff := cutoffLimits
	if d.PressureRatio >= cutoff.low {
		cutoff.low = 1
	}
	if err := cutoff.within(0, hotLimit(&third, c.States[0].V)/third.T).check(d.Cutoff); err != nil {
		return err
	}
	c.States = append(c.States, third, at(g, third.T*d.Cutoff, third.P))
	return nil
}

// byHeat appends states 3 and 4.
func (d *Dual) byHeat(c *Cycle, g gas.Gas) error {
	third := *c.last()
	most := roomAtVolume(g, &third, hottest) / d.Share // +Inf for no share
	if err := heatLimits.within(0, most).check(d.Heat); err != nil {
		return err
	}
	part := d.Heat * d.Share // at constant volume
	if part > 0 {
		var err error
		if third, err = heatedAtVolume(g, &third, part); err != nil {
			return fmt.Errorf("ideal: heat: %w", err)
		}
	}
	fourth := third
	if part < d.Heat {
		room := roomAtPressure(g, &third, hotLimit(&third, c.States[0].V))
		if !(d.Heat-part <= room) {
			return problem("heat_kj_kg", number(d.Heat/kJ), fmt.Sprintf(
				"less, or a greater constant_volume_share: at constant pressure the gas takes %.6g kJ/kg", room/kJ))
		}
		var err error
		if fourth, err = heatedAtPressure(g, &third, d.Heat-part); err != nil {
			return fmt.Errorf("ideal: heat: %w", err)
		}
	}
	c.States = append(c.States, third, fourth)
	return nil
}
