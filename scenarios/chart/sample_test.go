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
	for _, s := range []*[]float64{&c.Volume, &c.Pressure, &c.Temp, &c.Burned, &c.Release, &c.WallHeat, &c.Motored,
		&c.Unburned, &c.Hot, &c.Intake, &c.Exhaust, &c.Composition} {
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
	c.KnockOnset = nan
	c.Begin, c.End = n, 0
	p := 0.9 * intake
	cold := p
	for i := range n {
		t := -360 + 0.5*float64(i)
		c.Theta[i], c.Volume[i] = t*deg, volume(t)
		c.Temp[i], c.WallHeat[i] = 400, nan
		c.Unburned[i], c.Hot[i] = nan, nan
		switch { // valves
		case t < -180:
			c.Intake[i] = 4e-6 * math.Sin((t+340)*deg) / deg
		case t > 130:
			c.Exhaust[i] = 5e-6 * math.Sin((t-130)/230*math.Pi) / deg
		}
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
			c.Unburned[i] = 400 + 300*math.Cos(t/150*math.Pi/2)
			if heat > 0 && t > start {
				c.Hot[i] = 2200 - 3*t
			}
			c.Temp[i] = c.Unburned[i] + c.Burned[i]*1000
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
		c.Composition[i] = 0.06 + 0.94*c.Burned[i]
		if t < -200 {
			c.Composition[i] = 0.06 + 0.94*math.Min(1, (-200-t)/160)
		}
		if t > 130 {
			c.Composition[i] = 0.06 + 0.94*burned(130)
			c.Burned[i] = burned(130)
		}
	}
	c.Rapid = c.CA90 - c.CA10
	c.IMEPGross, c.PMEP, c.Torque, c.Efficiency = 7.31e5, -0.32e5, 21.4, 0.317
	c.Residual, c.Volumetric, c.Airflow, c.PeakBurned = 0.06, 0.84, 7e-3, 2200
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

// sampleHeld makes a parabola of airflow with its least at the given spark.
func sampleHeld(least float64, sparks ...float64) ([]sweep.Point, sweep.Point) {
	at := func(spark float64) sweep.Point {
		p := sweep.Point{Lit: true}
		p.Operating = model.Operating{Speed: 2200 * rpm, MAP: (44 + 0.01*(spark-least)*(spark-least)) * 1e3, Lambda: 1, Spark: spark * deg, Intake: 300, Exhaust: 1.02e5}
		p.Torque, p.Airflow = 10, (4+0.001*(spark-least)*(spark-least))*1e-3
		p.LPP = math.Max(2, 44-spark) * deg
		if spark < 0 {
			p.Lit, p.Missing = false, "less torque even at 300 kPa"
			p.Operating.MAP, p.Torque, p.Airflow, p.LPP = math.NaN(), math.NaN(), math.NaN(), math.NaN()
		}
		return p
	}
	var all []sweep.Point
	for _, s := range sparks {
		all = append(all, at(s))
	}
	return all, at(least)
}

// sampleGrid makes a map with the given MBT [deg] at (speed in 1000 rpm, MAP in
// bar), torque and the rest after it.
func sampleGrid(nx, ny int, mbt func(x, y float64) float64) *sweep.Grid {
	g := &sweep.Grid{LPP: 15 * deg, CA50: 8 * deg, Operating: model.Operating{Lambda: 1, Intake: 300, Exhaust: 1.02e5}}
	for i := range nx {
		g.Speeds = append(g.Speeds, (1000+3000*float64(i)/math.Max(1, float64(nx-1)))*rpm)
	}
	for j := range ny {
		g.MAPs = append(g.MAPs, 30e3+70e3*float64(j)/math.Max(1, float64(ny-1)))
	}
	for _, speed := range g.Speeds {
		for _, p := range g.MAPs {
			n := sweep.Node{Speed: speed, MAP: p}
			n.MBT.Operating.Spark = mbt(speed/rpm/1000, p/bar) * deg
			n.MBT.Torque = 40 * p / bar
			n.MBT.LPP, n.MBT.CA50 = 14*deg, 7*deg
			n.HeldLPP.Torque, n.HeldCA50.Torque = 0.99*n.MBT.Torque, math.NaN()
			n.Knock.Operating.Spark, n.Knock.Kind = 20*deg, sweep.LimitKind(len(g.Nodes)%4)
			g.Nodes = append(g.Nodes, n)
		}
	}
	return g
}
