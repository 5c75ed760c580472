package sensor

import (
	"math"

	"phasebench/model"
	"phasebench/scenarios/stream"
)

// Accelerometer is a knock sensor on the block, sampled by a clock of its own
// within a window that the crank opens.
type Accelerometer struct {
	Rate     float64 // of samples [Hz]
	From, To float64 // window [rad] after dead centre
	Gain     float64 // of ringing pressure in the chamber [V/Pa]
	Own      float64 // resonance of block, mount and sensor [Hz]
	Damping  float64 // of that, ζ [-]
	Valves   float64 // amplitude of the blow as a valve closes [V]
	Noise    float64 // white, rms of a sample [V]
	Dead     bool    // it reads 0
}

// UsualAccelerometer returns one that listens from 5 deg before to 65 deg after
// dead centre at 100 kHz. Our own choice.
func UsualAccelerometer() *Accelerometer {
	return &Accelerometer{
		Rate: 100e3, From: -5 * deg, To: 65 * deg, Gain: 0.5 / bar,
		Own: 22e3, Damping: 0.2, Valves: 0.1, Noise: 0.01,
	}
}

func (a *Accelerometer) check() error {
	err := within(
		quantity{"knock.rate_khz", a.Rate, 1e3, 10, 10000},
		quantity{"knock.from_deg_atdc", a.From, deg, -360, 359},
		quantity{"knock.gain_v_per_bar", a.Gain, 1 / bar, 0, 1000},
		quantity{"knock.own_khz", a.Own, 1e3, 0.1, 1000},
		quantity{"knock.damping", a.Damping, 1, 0.001, 0.99},
		quantity{"knock.valves_v", a.Valves, 1, 0, 100},
		quantity{"knock.noise_v", a.Noise, 1, 0, 100},
	)
	if err == nil {
		err = within(quantity{"knock.to_deg_atdc", a.To, deg, a.From/deg + 1, 360})
	}
	return err
}

// listener is the state of an Accelerometer.
type listener struct {
	blows      []float64 // where valves close, within the cycle [rad]; a port has none
	x, at, gap []float64
}

// aim finds where the valves of e, whose cycle takes period [rad], close.
func (l *listener) aim(e *model.Engine, period float64) {
	l.blows = nil
	for _, p := range []*model.Port{&e.Intake, &e.Exhaust} {
		if p.Area > 0 {
			continue
		}
		_, shut := p.Event()
		l.blows = append(l.blows, math.Remainder(shut, period))
	}
}

const (
	// What has sounded so long before the window [s] is still heard in it.
	prelude = 3e-3

	// A valve on its seat rings at about blowHz [Hz] and decays with blowTime [s].
	// Our own choice.
	blowHz   = 8e3
	blowTime = 0.4e-3
)

// knock fills the channel of the knock sensor: ringing gas and valves through the
// structure's resonance, and noise.
func (r *Rig) knock(c *stream.Cycle, dst []float32) []float32 {
	set, l := &r.now.knock, &r.listen
	from, to := c.Clock.Time(set.From), c.Clock.Time(set.To)
	before := int(prelude * set.Rate)
	n := before + int(math.Ceil((to-from)*set.Rate))
	l.x, l.at, l.gap = fit(l.x, n), fit(l.at, n), fit(l.gap, n)
	for i := range n {
		l.x[i], l.at[i], l.gap[i] = 0, from+float64(i-before)/set.Rate, 1/set.Rate
	}
	r.ring.add(l.x, l.at, set.Gain)
	if set.Valves > 0 {
		for _, theta := range l.blows {
			hit := c.Clock.Time(theta)
			for i, t := range l.at {
				if t -= hit; t >= 0 && t < 15*blowTime {
					l.x[i] += set.Valves * math.Exp(-t/blowTime) * math.Sin(2*math.Pi*blowHz*t)
				}
			}
		}
	}
	(&resonance{}).pass(l.x, l.gap, set.Own, set.Damping)
	z := r.random.of(c.Number, stream.Listening)
	for _, v := range l.x[before:] {
		v += set.Noise * z.NormFloat64()
		if set.Dead {
			v = 0
		}
		dst = append(dst, float32(v))
	}
	return dst
}
