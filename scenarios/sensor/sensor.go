// Package sensor makes of a true cycle what instruments deliver of it: a pressure
// transducer, the spark plug as an ion sensor, a tooth wheel with a cam signal
// and a knock sensor, their faults included.
//
// Nothing of the truth leaves the package: a Record holds samples and which
// faults were active. Every random draw is a function of seed, cycle number and
// instrument; all that carries over from one cycle to the next is the state of
// filters, the phase of a free-running ADC and the last tooth.
package sensor

import (
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/model/knock"
	"phasebench/scenarios/stream"
)

// Units that people read, in SI.
const (
	deg  = math.Pi / 180
	bar  = 1e5
	usec = 1e-6
	uA   = 1e-6
)

// Sampling says when pressure and ion current are sampled.
type Sampling struct {
	// RateHz is that of a free-running ADC, 1 kHz to 10 MHz (time base). 0 takes a
	// sample where the encoder believes each angle of Cycle.Theta to be (angle base).
	RateHz float64
}

// Setup says which instruments are fitted; a nil pointer: not fitted.
type Setup struct {
	Sampling Sampling
	Pressure *Transducer
	Ion      *Ion // at the leading plug
	Trailing *Ion // at the trailing plug
	Wheel    *Wheel
	Cam      bool
	Knock    *Accelerometer
	Faults   []Fault
}

// Usual returns a setup for e: angle base, pressure, ion current and a 36-1
// wheel, each with its usual numbers, without a fault.
func Usual(e *model.Engine) Setup {
	return Setup{Pressure: UsualTransducer(), Ion: UsualIon(), Wheel: UsualWheel()}
}

// Channel is what one column of samples holds.
type Channel struct {
	Name, Unit, About string

	// Count returns how many samples a cycle of so many angles has; 0: it differs
	// from cycle to cycle.
	Count func(angles int) int
}

// Record is what instruments delivered of one cycle. Take uses its slices again.
type Record struct {
	Values   [][]float32 // one per channel
	Severity []float64   // one per fault of the setup: in this cycle, 0 while not active
}

// bench holds the instruments as they are in one cycle, faults applied.
type bench struct {
	pressure Transducer
	ion      Ion
	trailing Ion
	wheel    Wheel
	knock    Accelerometer
	offset   float64 // what the angle reference reads too much [rad]
	camDead  bool
}

// column fills one channel; it returns dst[:0] with the samples appended.
type column func(r *Rig, c *stream.Cycle, dst []float32) []float32

// Rig runs a setup over successive cycles. It keeps its buffers and the state of
// its filters: one Rig serves one stream, in one goroutine.
type Rig struct {
	set      Setup
	faults   []*kind // of set.Faults
	fresh    bench   // without faults
	now      bench   // of the cycle at hand
	channels []Channel
	columns  []column

	strokes chamber.Strokes
	random  random
	grid    grid
	ring    ring
	press   transducer
	plugs   [2]plug
	teeth   teeth
	listen  listener
}

// New returns a rig for e with draws of seed. A setting out of range, a fault
// that is not known and a fault of an instrument that is not fitted come back as
// a *model.Problem.
func New(e *model.Engine, set Setup, seed uint64) (*Rig, error) {
	ch, err := e.Chamber()
	if err != nil {
		return nil, err
	}
	r := &Rig{set: set, strokes: ch.Strokes(), random: newRandom(seed)}
	r.set.Faults = append([]Fault(nil), set.Faults...)
	if err := r.check(e); err != nil {
		return nil, err
	}
	if err := r.arm(); err != nil {
		return nil, err
	}
	if r.ring, err = newRing(ch.Bore()); err != nil {
		return nil, err
	}
	if e.Rotary() {
		if r.ring.modes, err = knock.BoxModes(math.Sqrt(3)*e.Rotor.Radius, e.Rotor.Width, 1, len(ringShare)); err != nil {
			return nil, err
		}
	}
	_, r.plugs[0].shut = e.Sealed()
	r.plugs[1].shut = r.plugs[0].shut
	r.listen.aim(e, r.strokes.Period())
	r.wire()
	r.Reset()
	return r, nil
}

// TrailingChannel is the name of the channel of the trailing plug's ion current.
const TrailingChannel = "ion_trailing_ua"

// check checks the setup and lays it out in fresh.
func (r *Rig) check(e *model.Engine) error {
	set := &r.set
	if f := set.Sampling.RateHz; f != 0 {
		if err := within(quantity{"sampling.rate_hz", f, 1, 1e3, 1e7}); err != nil {
			return err
		}
	}
	if set.Trailing != nil && e.Burn.Plugs != 2 {
		return &model.Problem{Key: "trailing", Given: "fitted", Want: fmt.Sprintf("an engine with 2 plugs, which %s has not", e.Name)}
	}
	if p := set.Pressure; p != nil {
		if err := p.check(); err != nil {
			return err
		}
		r.fresh.pressure = *p
	}
	if p := set.Ion; p != nil {
		if err := p.check("ion"); err != nil {
			return err
		}
		r.fresh.ion = *p
	}
	if p := set.Trailing; p != nil {
		if err := p.check("trailing"); err != nil {
			return err
		}
		r.fresh.trailing = *p
	}
	if p := set.Wheel; p != nil {
		if err := p.check(); err != nil {
			return err
		}
		r.fresh.wheel = *p
	}
	if p := set.Knock; p != nil {
		if err := p.check(); err != nil {
			return err
		}
		r.fresh.knock = *p
	}
	return nil
}

// wire lists the channels and who fills them.
func (r *Rig) wire() {
	timed := r.set.Sampling.RateHz > 0
	grid := func(angles int) int { return angles }
	if timed {
		grid = varies
	}
	add := func(name, unit, about string, count func(int) int, fill column) {
		r.channels = append(r.channels, Channel{name, unit, about, count})
		r.columns = append(r.columns, fill)
	}
	if timed {
		add("time_us", "us", "time of each sample since the start of the cycle", varies, (*Rig).time)
	}
	if r.set.Pressure != nil {
		add("pressure_bar", "bar", "pressure transducer", grid, (*Rig).pressure)
	}
	if r.set.Ion != nil {
		add("ion_ua", "uA", "ion current of the leading plug", grid, (*Rig).leading)
	}
	if r.set.Trailing != nil {
		add(TrailingChannel, "uA", "ion current of the trailing plug", grid, (*Rig).trailing)
	}
	if r.set.Wheel != nil {
		if timed {
			add("wheel_v", "V", "tooth wheel", varies, (*Rig).wheelWave)
		} else {
			add("tooth_us", "us", "rising edges of the teeth since the start of the cycle", varies, (*Rig).wheelEdges)
		}
	}
	if r.set.Cam {
		if timed {
			add("cam_v", "V", "cam signal", varies, (*Rig).camWave)
		} else {
			add("cam_us", "us", "rising edge of the cam signal since the start of the cycle", varies, (*Rig).camEdge)
		}
	}
	if r.set.Knock != nil {
		add("knock_v", "V", "knock sensor within its window", varies, (*Rig).knock)
	}
}

func varies(int) int { return 0 }

// Channels lists the channels of a Record in order.
func (r *Rig) Channels() []Channel { return append([]Channel(nil), r.channels...) }

// Reset forgets what carries over from cycle to cycle: the next Take is the first.
func (r *Rig) Reset() {
	r.grid.reset()
	r.press.reset()
	r.plugs[0].reset()
	r.plugs[1].reset()
	r.teeth.reset()
}

// Take records c, which follows upon the cycle taken last.
func (r *Rig) Take(c *stream.Cycle, dst *Record) error {
	if n := len(c.Theta); n < 8 || len(c.Pressure) != n || len(c.Hot) != n || len(c.Temp) != n {
		return fmt.Errorf("sensor: cycle %d: %d angles, %d pressures, %d and %d temperatures: want as many of each, 8 or more",
			c.Number, n, len(c.Pressure), len(c.Hot), len(c.Temp))
	}
	if !(c.Clock.Speed > 0) || !(c.Clock.Ripple >= 0 && c.Clock.Ripple <= 0.5) {
		return fmt.Errorf("sensor: cycle %d: speed %g rad/s with ripple %g: want > 0 and 0 to 0.5", c.Number, c.Clock.Speed, c.Clock.Ripple)
	}
	dst.Values, dst.Severity = fit(dst.Values, len(r.columns)), fit(dst.Severity, len(r.faults))
	r.now = r.fresh
	r.now.pressure.Offset += r.now.pressure.Drift * float64(c.Number)
	for i, k := range r.faults {
		f := &r.set.Faults[i]
		dst.Severity[i] = 0
		if f.active(c.Number) {
			dst.Severity[i] = f.Severity
			k.apply(&r.now, f.Severity, c.Number-f.From)
		}
	}
	r.grid.lay(c, r.set.Sampling.RateHz, r.now.offset, r.strokes.End)
	if r.set.Knock != nil || r.set.Pressure != nil {
		r.ring.strike(c)
	}
	if r.set.Wheel != nil {
		r.teeth.turn(r, c)
	}
	for i, fill := range r.columns {
		dst.Values[i] = fill(r, c, dst.Values[i][:0])
	}
	r.grid.leave()
	return nil
}

// time fills the channel of sample times.
func (r *Rig) time(_ *stream.Cycle, dst []float32) []float32 {
	for _, t := range r.grid.time {
		dst = append(dst, float32(t/usec))
	}
	return dst
}

// fit returns s with length n, and room to spare where it must grow.
func fit[T any](s []T, n int) []T {
	if cap(s) < n {
		more := make([]T, n, n+n/4)
		copy(more, s)
		return more
	}
	return s[:n]
}
