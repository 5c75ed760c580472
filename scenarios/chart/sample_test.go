package chart

import (
	"math"

	"phasebench/model"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// sample makes a plausible cycle by hand: a slider-crank without a rod, sealed
// from -135 to 130 deg, polytropic but for a Wiebe burn of the given start and
// span [deg]. With heat 0 the charge does not light.
func sample(start, width, intake, heat float64) *solve.Cycle {
	c := &solve.Cycle{Lit: heat > 0}
	c.Operating = model.Operating{Speed: 2200 * rpm, MAP: intake, Lambda: 1, Spark: (5 - start) * deg, Intake: 300, Exhaust: 1.02e5}
	const swept, clearance, n = 499e-6, 64e-6, 1441
	c.Theta = make([]float64, n)
	for _, s := range []*[]float64{&c.Volume, &c.Pressure, &c.Temp, &c.Burned, &c.Release, &c.WallHeat, &c.Motored} {
		*s = make([]float64, n)
	}
	volume := func(t float64) float64 { return clearance + swept/2*(1-math.Cos(t*deg)) }
	burned := func(t float64) float64 {
		if heat == 0 || t <= start {
			return 0
		}
		return 1 - math.Exp(-5*math.Pow((t-start)/width, 3))
	}
	nan := math.NaN()
	c.CA10, c.CA50, c.CA90, c.Development, c.Rapid, c.LPP = nan, nan, nan, nan, nan, nan
	c.Begin, c.End = n, 0
	p := 0.9 * intake
	cold := p
	for i := range n {
		t := -360 + 0.5*float64(i)
		c.Theta[i], c.Volume[i] = t*deg, volume(t)
		c.Temp[i], c.WallHeat[i] = nan, nan
		switch {
		case t < -345:
			c.Pressure[i] = 1.06e5 + (0.9*intake-1.06e5)*(t+360)/15
		case t < -135:
			c.Pressure[i] = 0.9 * intake
		case t > 130:
			c.Pressure[i] = 1.06e5 + (p-1.06e5)*math.Exp(-(t-130)/15)
		default:
			c.Begin, c.End = min(c.Begin, i), i+1
			if v, w := volume(t-0.5), volume(t); t > -135 {
				dx := burned(t) - burned(t-0.5)
				p = p*math.Pow(v/w, 1.3) + 0.3*0.8*heat*dx/w
				cold *= math.Pow(v/w, 1.3)
				c.Release[i] = heat * dx / (0.5 * deg)
			}
			c.Pressure[i], c.Burned[i] = p, burned(t)
			for _, m := range []struct {
				share float64
				at    *float64
			}{{0.1, &c.CA10}, {0.5, &c.CA50}, {0.9, &c.CA90}} {
				if math.IsNaN(*m.at) && c.Burned[i] >= m.share {
					*m.at = t * deg
				}
			}
			if p > c.Peak {
				c.LPP, c.Peak = t*deg, p
			}
		}
		c.Motored[i] = c.Pressure[i]
		if t >= -135 && t <= 130 {
			c.Motored[i] = cold
		}
		if t > 130 {
			c.Burned[i] = burned(130)
		}
	}
	c.Rapid = c.CA90 - c.CA10
	c.IMEPGross, c.PMEP, c.Torque, c.Efficiency = 7.31e5, -0.32e5, 21.4, 0.317
	return c
}

// sampleSweep makes a parabola of torque with its top at mbt [deg].
func sampleSweep(mbt, top float64, sparks ...float64) *sweep.Result {
	at := func(spark float64) sweep.Point {
		p := sweep.Point{Lit: spark < 60}
		p.Operating = model.Operating{Speed: 2200 * rpm, MAP: 8e4, Lambda: 1, Spark: spark * deg, Intake: 300, Exhaust: 1.02e5}
		p.Torque = top - 0.012*(spark-mbt)*(spark-mbt)
		p.CA50 = (32 - spark) * deg
		p.LPP = math.Max(2, 38-spark) * deg
		p.Peak = (20 + spark) * bar
		if !p.Lit {
			p.Torque, p.CA50 = -8, math.NaN()
		}
		return p
	}
	r := &sweep.Result{MBT: at(mbt)}
	for _, s := range sparks {
		r.Points = append(r.Points, at(s))
	}
	return r
}
