package solve

import (
	"phasebench/model"
	"phasebench/model/gas"
)

// waterMolar is the molar mass of water [kg/mol] (from memory).
const waterMolar = 18.015e-3

// moist is the burned mass fraction of the fresh charge that enters at op [-],
// 0 with dry air; pressure and temperature at entry must be set.
//
// The gas knows no water of its own: that of the air counts as equally many
// moles of cooled burned gas. As an ideal gas it then displaces as much fresh
// charge as the water does, and it slows the flame by mole fraction, which is how
// package flame takes any diluent. Its mass and its heat capacity are those of
// burned gas, not of water. Our own simplification. Moles are those at entry: at
// other pressures burned gas freezes with some 1e-4 more or fewer.
func (s *Solver) moist(op *model.Operating) float64 {
	o := &s.one
	var cool state
	o.pure(o.tIn, o.pIn, &cool)
	molar := gas.RU * o.tIn / (o.pIn * cool.v)
	water := op.Humidity / waterMolar * molar // for each kg of dry air
	return water / (1 + 1/(op.Lambda*s.fuel.StoichAirFuel) + water)
}
