package sensor

import (
	"math"
	"math/rand/v2"

	"phasebench/scenarios/stream"
)

// Ion is a spark plug as a sensor of ion current. A zero field is a part without
// that effect, but Spark and Additive must be set. check tells the ranges.
type Ion struct {
	Thermal float64 // level of the thermal peak at the state of saha and lambda 1.05 [A]
	Flame   float64 // level of the flame-front peak at 8 bar and lambda 0.95 [A]

	Strike   float64 // what the circuit reads of the spark [A]
	Spark    float64 // duration of the spark [s]
	Ringing  float64 // amplitude of the coil's ringing after the spark [A]
	RingTime float64 // its time constant [s]; unused without ringing

	Blank    float64 // the output is held at 0 for so long from the spark on [s]
	Leak     float64 // current through a fouled insulator [A]
	Additive float64 // factor of both peaks by metal in the fuel [-]
	Lag      float64 // time constant of the circuit [s]
	Ceiling  float64 // greatest output [A]; 0: no limit

	Scatter float64 // sd of ln(level) from cycle to cycle [-]: the plug sees one place
	Shift   float64 // sd by which the gas at the plug is early or late [rad]
	Noise   float64 // white, rms of a sample [A]
	Dead    bool    // it reads 0
}

// UsualIon returns a clean plug with its circuit. Our own choice within common
// practice (no source): peaks of tens of microamperes, a spark of 1 to 2 ms,
// ringing of 0.3 to 1 ms, a lag below 0.2 ms.
func UsualIon() *Ion {
	return &Ion{
		Thermal: 20 * uA, Flame: 20 * uA,
		Strike: 80 * uA, Spark: 1e-3, Ringing: 40 * uA, RingTime: 0.15e-3,
		Additive: 1, Lag: 30 * usec, Ceiling: 100 * uA,
		Scatter: 0.25, Shift: 1 * deg, Noise: 0.3 * uA,
	}
}

func (p *Ion) check(plug string) error {
	if p.Ringing > 0 {
		if err := within(quantity{plug + ".ring_time_ms", p.RingTime, 1e-3, 0.01, 10}); err != nil {
			return err
		}
	}
	return within(
		quantity{plug + ".thermal_ua", p.Thermal, uA, 0, 10000},
		quantity{plug + ".flame_ua", p.Flame, uA, 0, 10000},
		quantity{plug + ".strike_ua", p.Strike, uA, 0, 10000},
		quantity{plug + ".spark_ms", p.Spark, 1e-3, 0.1, 10},
		quantity{plug + ".ringing_ua", p.Ringing, uA, 0, 10000},
		quantity{plug + ".blank_ms", p.Blank, 1e-3, 0, 20},
		quantity{plug + ".leak_ua", p.Leak, uA, 0, 10000},
		quantity{plug + ".additive", p.Additive, 1, 0.01, 100},
		quantity{plug + ".lag_us", p.Lag, usec, 0, 10000},
		quantity{plug + ".ceiling_ua", p.Ceiling, uA, 0, 100000},
		quantity{plug + ".scatter", p.Scatter, 1, 0, 2},
		quantity{plug + ".shift_deg", p.Shift, deg, 0, 20},
		quantity{plug + ".noise_ua", p.Noise, uA, 0, 1000},
	)
}

// plug is the state of an Ion.
type plug struct {
	shut  float64 // angle at which the exhaust valve opens and blows the gas away [rad]
	x     []float64
	glow  []float64 // thermal current at the angles of the cycle [A]
	lit   bool
	first int // glow is 0 outside first to last
	last  int
	lag   lag
}

func (p *plug) reset() { p.lag = lag{} }

// The gas that burned first at the plug. It begins at the temperature of the
// burned zone when that begins, the flame temperature at the spark, and follows
// the pressure on an isentrope, while it cools towards the electrodes:
//
//	T = Te + (T₀·(p/p₀)^((γ−1)/γ) − Te)·exp(−∫ dt/τ),  τ = τ₀·p/p₁
//
// Gas that burns later is compressed less after it burned, and is colder; the
// mean of the burned zone lies between. γ is about that of dissociating gas. Heat
// diffuses out of a pocket the faster the thinner its gas is, which τ follows.
// All numbers are our own choice.
const (
	plugGamma = 1.17
	plugMetal = 900.        // Te [K]
	plugCools = 60e-3       // τ₀ [s]
	coolsAt   = refPressure // p₁
)

// The flame-front peak. Our own choice: it is highest where 10 % are burned, soon
// after a spark has ended, 0.4 times as wide at half height as the way from spark
// to there (5 to 15 deg), and grows with the square root of the pressure.
const (
	frontWide  = 0.4
	frontLeast = 5 * deg
	frontMost  = 15 * deg
	frontRef   = 8 * bar
)

// What is there to ionise at lambda: NO is most a little lean, the ions of the
// flame front a little rich (common practice, no source); shapes are our own
// choice.
func donors(lambda float64) float64   { return bell((lambda - 1.05) / 0.25) }
func radicals(lambda float64) float64 { return bell((lambda - 0.95) / 0.3) }

func bell(z float64) float64 { return math.Exp(-z * z) }

// heat makes the thermal current of c at its angles ready; the plug fires at
// spark [rad] after dead centre.
func (p *plug) heat(set *Ion, c *stream.Cycle, spark float64) {
	n := len(c.Theta)
	p.glow = fit(p.glow, n)
	p.lit = false
	p.first, p.last = n, n
	if !c.Lit || c.Misfire {
		return
	}
	k := max(0, int(math.Ceil((spark-c.Theta[0])/(c.Theta[1]-c.Theta[0]))))
	for k < n && !(c.Hot[k] > 0) {
		k++
	}
	if k == n {
		return
	}
	p.lit, p.first = true, k
	p0, hot := c.Pressure[k], c.Hot[k]
	since, cooled := c.Clock.Time(c.Theta[k]), 0.
	level := set.Thermal * donors(c.Lambda) * set.Additive
	const kappa = (plugGamma - 1) / plugGamma
	var squeeze, cool decay
	for ; k < n && c.Theta[k] < p.shut; k++ {
		now := c.Clock.Time(c.Theta[k])
		cooled += (now - since) / plugCools * coolsAt / c.Pressure[k]
		since = now
		t := hot*squeeze.at(-kappa*math.Log(c.Pressure[k]/p0)) - plugMetal
		t = plugMetal + t*cool.at(cooled)
		p.glow[k] = level * saha(c.Pressure[k], t)
	}
	p.last = k
}

// glowing returns the thermal current at theta [rad].
func (p *plug) glowing(g *grid, theta float64) float64 {
	x := (theta - g.start) / g.pace
	k := int(math.Floor(x))
	if k < p.first || k+1 >= p.last {
		return 0
	}
	return p.glow[k] + (x-float64(k))*(p.glow[k+1]-p.glow[k])
}

// take appends to dst what the plug that fires at spark [rad] delivers of c.
func (p *plug) take(set *Ion, c *stream.Cycle, g *grid, spark float64, z *rand.Rand, dst []float32) []float32 {
	loud, shift := math.Exp(set.Scatter*z.NormFloat64()), set.Shift*z.NormFloat64()
	p.heat(set, c, spark)
	p.x = fit(p.x, len(g.theta))
	for i, theta := range g.theta {
		p.x[i] = loud * p.glowing(g, theta-shift)
	}
	if p.lit && !math.IsNaN(c.CA10) {
		way := c.CA10 + c.Operating.Spark
		at := spark + way
		wide := max(frontLeast, min(frontMost, frontWide*way)) / (2 * math.Sqrt(math.Ln2))
		level := loud * set.Flame * radicals(c.Lambda) * set.Additive * math.Sqrt(g.at(at).linear(c.Pressure)/frontRef)
		for i, theta := range g.theta {
			if d := (theta - shift - at) / wide; math.Abs(d) < 4 {
				p.x[i] += level * bell(d)
			}
		}
	}
	fired := c.Clock.Time(spark)
	for i, t := range g.time {
		switch t -= fired; {
		case t < -dwell:
		case t >= 0 && t < set.Spark: // nothing else is seen beside a spark
			p.x[i] = set.coil(t)
		default:
			p.x[i] += set.coil(t)
		}
	}
	if set.Lag > 0 {
		p.lag.pass(p.x, g.step, set.Lag)
	} else {
		p.lag = lag{}
	}
	for i := range p.x {
		p.x[i] += set.Leak
		if set.Noise > 0 {
			p.x[i] += set.Noise * z.NormFloat64()
		}
	}
	if set.Ceiling > 0 {
		clip(p.x, -set.Ceiling, set.Ceiling)
	}
	for i, v := range p.x {
		if t := g.time[i] - fired; set.Dead || (t >= 0 && t < set.Blank) {
			v = 0
		}
		dst = append(dst, float32(v/uA))
	}
	return dst
}

// leading fills the channel of the leading plug.
func (r *Rig) leading(c *stream.Cycle, dst []float32) []float32 {
	z := r.random.of(c.Number, stream.Ionizing)
	return r.plugs[0].take(&r.now.ion, c, &r.grid, -c.Operating.Spark, z, dst)
}

// trailing fills the channel of the trailing plug: it fires later, and sees a
// front of its own.
func (r *Rig) trailing(c *stream.Cycle, dst []float32) []float32 {
	z := r.random.of(c.Number, stream.Trailing)
	return r.plugs[1].take(&r.now.trailing, c, &r.grid, -c.Operating.Spark+c.Operating.Split, z, dst)
}
