package sensor

import "phasebench/scenarios/stream"

// Transducer is a pressure transducer with its amplifier and ADC. A zero field
// is a part without that error. check tells the ranges.
type Transducer struct {
	Passage     float64 // length of the passage to the diaphragm [m]; 0: flush
	Sensitivity float64 // relative error [-]
	Shock       float64 // dip by thermal shock at full load [Pa], see shock
	Lag         float64 // time constant [s]
	Leak        float64 // charge lost by the amplifier [1/s]; 0: it keeps the mean
	Offset      float64 // [Pa]
	Drift       float64 // of the offset [Pa/cycle], from cycle 0 on
	Noise       float64 // white, rms of a sample [Pa]
	Ceiling     float64 // greatest output of the amplifier [Pa]; 0: no limit
	Low, High   float64 // range of the ADC [Pa]; unused with Bits 0
	Bits        int     // of the ADC; 0: none
	Dead        bool    // it reads 0
}

// UsualTransducer returns a good flush transducer, the trace pegged, with a 16-bit
// ADC. Our own choice; the noise is that of usual recorders (common practice, no
// source).
func UsualTransducer() *Transducer {
	return &Transducer{Shock: 0.1 * bar, Noise: 0.03 * bar, Low: usualLow, High: usualHigh, Bits: 16}
}

// The range of an ADC where none is given [Pa].
const (
	usualLow  = -10 * bar
	usualHigh = 150 * bar
)

func (t *Transducer) check() error {
	err := within(
		quantity{"pressure.passage_mm", t.Passage, 1e-3, 0, 300},
		quantity{"pressure.sensitivity_pct", t.Sensitivity, 0.01, -90, 200},
		quantity{"pressure.thermal_shock_bar", t.Shock, bar, 0, 5},
		quantity{"pressure.lag_us", t.Lag, usec, 0, 10000},
		quantity{"pressure.leak_per_s", t.Leak, 1, 0, 100},
		quantity{"pressure.offset_bar", t.Offset, bar, -100, 100},
		quantity{"pressure.drift_bar_per_1000", t.Drift, bar / 1000, -100, 100},
		quantity{"pressure.noise_bar", t.Noise, bar, 0, 10},
		quantity{"pressure.ceiling_bar", t.Ceiling, bar, 0, 1000},
		quantity{"pressure.bits", float64(t.Bits), 1, 0, 24},
	)
	if err == nil && t.Bits > 0 {
		err = within(
			quantity{"pressure.low_bar", t.Low, bar, -1000, 1000},
			quantity{"pressure.high_bar", t.High, bar, t.Low/bar + 1, 2000},
		)
	}
	return err
}

// transducer is the state of a Transducer.
type transducer struct {
	x       []float64
	passage resonance
	shock   shock
	lag     lag
	leak    leak
}

func (t *transducer) reset() {
	t.passage, t.shock.lag, t.lag, t.leak = resonance{}, lag{}, lag{}, leak{}
}

// The gas in a passage, our own choice: hot, but cooled by its walls.
const (
	passageSound   = 600. // [m/s]
	passageDamping = 0.05 // ζ [-]
)

// passageHz is the quarter-wave resonance of a passage of length [m] [Hz].
func passageHz(length float64) float64 { return passageSound / (4 * length) }

// pressure fills the channel of the transducer. The ringing of knock shows where
// sampling is fast enough for it, see ring.audible.
func (r *Rig) pressure(c *stream.Cycle, dst []float32) []float32 {
	set, t, g := &r.now.pressure, &r.press, &r.grid
	t.x = fit(t.x, len(g.theta))
	x := t.x
	g.sample(x, c.Pressure)
	if r.ring.audible(r.set.Sampling.RateHz) {
		r.ring.add(x, g.time, 1)
	}
	if set.Passage > 0 {
		t.passage.pass(x, g.step, passageHz(set.Passage), passageDamping)
	} else {
		t.passage = resonance{}
	}
	for i := range x {
		x[i] *= 1 + set.Sensitivity
	}
	if set.Shock > 0 {
		t.shock.pass(x, c, g, set.Shock)
	} else {
		t.shock.lag = lag{}
	}
	if set.Lag > 0 {
		t.lag.pass(x, g.step, set.Lag)
	} else {
		t.lag = lag{}
	}
	if set.Leak > 0 {
		t.leak.pass(x, g.step, set.Leak)
	} else {
		t.leak = leak{}
	}
	for i, at := range g.time {
		x[i] += set.Offset + set.Drift*at/g.period
	}
	if set.Noise > 0 {
		z := r.random.of(c.Number, stream.Pressing)
		for i := range x {
			x[i] += set.Noise * z.NormFloat64()
		}
	}
	if set.Ceiling > 0 {
		clip(x, -set.Ceiling, set.Ceiling)
	}
	if set.Bits > 0 {
		digitise(x, set.Low, set.High, set.Bits)
	}
	for _, v := range x {
		if set.Dead {
			v = 0
		}
		dst = append(dst, float32(v/bar))
	}
	return dst
}
