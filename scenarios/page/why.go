package page

import (
	"fmt"
	"math"

	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// why says in plain words what the energy of this very cycle did.
func why(c *solve.Cycle, s *split) []string {
	if !c.Lit {
		return []string{"The spark lights nothing: " + c.Unlit + ". This is the motored cycle; all of its work is a loss."}
	}
	// A rotor's angles are wider than a piston's, as its cycle is.
	wide, shaft, moves := -c.Theta[0]/(2*math.Pi), "crank", "the piston still comes up"
	if wide > 1 {
		shaft, moves = "shaft", "the chamber still shrinks"
	}
	out := []string{fmt.Sprintf("Of %.0f J in the fuel, compression takes %.0f J back from the %s, expansion gives %.0f J, the walls take %.0f J (%.1f %%), and about %.0f J leave with the exhaust.",
		s.fuel, -s.compression, shaft, s.expansion, s.wall, 100*s.wall/s.fuel, s.exhaust)}
	switch {
	case c.LPP < 8*wide*deg && c.CA50 > c.LPP+12*wide*deg:
		out = append(out, fmt.Sprintf("The greatest pressure is that of compression alone: half has burned only at %.1f deg after dead centre, when the chamber has grown. Little expansion is left for the gas to work by.", c.CA50/deg))
	case c.LPP < 8*wide*deg:
		out = append(out, fmt.Sprintf("The peak lands %.1f deg after dead centre: much has burned while %s. That must be pushed against, and the hot gas has longer to heat the walls.", c.LPP/deg, moves))
	case c.LPP > 22*wide*deg:
		out = append(out, fmt.Sprintf("The peak lands %.1f deg after dead centre, when the chamber has grown: less expansion is left for the gas to work by, and it leaves hotter.", c.LPP/deg))
	default:
		out = append(out, fmt.Sprintf("The peak lands %.1f deg after dead centre and half has burned at %.1f deg: near where compression work and late burning cost about the same for a small change.", c.LPP/deg, c.CA50/deg))
	}
	if c.KnockIntegral > 1 {
		out = append(out, fmt.Sprintf("The unburned gas would ignite by itself (integral %.2f, above 1): on an engine this destroys. Less advance, less load, a lower ratio or a better fuel.", c.KnockIntegral))
	}
	return out
}

// against says how c differs from MBT at the same point.
func against(c *solve.Cycle, best *sweep.Point) []string {
	if !(best.Torque > 0) {
		return []string{fmt.Sprintf("Here the engine drives nothing at any spark: at best, %.1f deg before dead centre, it takes %.2f N m to turn.", best.Operating.Spark/deg, -best.Torque)}
	}
	off := (c.Operating.Spark - best.Operating.Spark) / deg
	lost := 100 * (1 - c.Torque/best.Torque)
	if math.Abs(off) < 0.3 {
		return []string{fmt.Sprintf("This is MBT, %.1f deg: earlier and later both lose.", best.Operating.Spark/deg)}
	}
	side := "earlier"
	if off < 0 {
		side = "later"
	}
	return []string{fmt.Sprintf("That is %.1f deg %s than MBT and loses %.2f %% of its torque: the walls take %+.1f points of the fuel's energy more than there, and gross work is %+.2f points.",
		math.Abs(off), side, lost, 100*(c.HeatLoss-best.HeatLoss), 100*(c.Efficiency-best.Efficiency))}
}
