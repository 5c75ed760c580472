package loop

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// setup returns the instruments that are fitted.
func (s *Scenario) setup() sensor.Setup {
	set := sensor.Usual(s.Engine)
	set.Wheel = nil
	if !s.Sensing.pressure() {
		set.Pressure = nil
	}
	if s.Sensing.Signal != reader.Ion {
		set.Ion = nil
	} else if s.Engine.Burn.Plugs == 2 {
		set.Trailing = sensor.UsualIon()
	}
	if s.Sensing.Knock {
		set.Knock = sensor.UsualAccelerometer()
	}
	set.Faults = s.Sensing.Faults
	return set
}

// eyes make of a cycle what a controller sees of it.
type eyes struct {
	signal   reader.Signal
	rig      *sensor.Rig
	columns  map[string]int // of the record, by channel
	record   sensor.Record
	reader   reader.Reader
	trailing reader.Reader   // nil: no such sensor
	average  reader.Combiner // nil: none
	in       reader.Input
	other    reader.Input // of the trailing plug
	gauge    gauge
	ear      ear
	bench    meter
}

func newEyes(s *Scenario, seed uint64) (*eyes, error) {
	e := &eyes{signal: s.Sensing.Signal, columns: map[string]int{}, bench: meter{seed: seed}}
	var err error
	if e.rig, err = sensor.New(s.Engine, s.setup(), seed); err != nil {
		return nil, err
	}
	for i, c := range e.rig.Channels() {
		e.columns[c.Name] = i
	}
	if e.reader, err = reader.New(s.Sensing.Reader, e.signal, s.Engine, s.Sensing.Settings); err != nil {
		return nil, err
	}
	if _, ok := e.columns[sensor.TrailingChannel]; ok {
		if e.trailing, err = reader.New(s.Sensing.Reader, e.signal, s.Engine, s.Sensing.Settings); err != nil {
			return nil, err
		}
	}
	if a := s.Sensing.Average; a != "" {
		if e.average, err = reader.NewCombiner(a, s.Sensing.Over); err != nil {
			return nil, err
		}
	}
	ch, err := s.Engine.Chamber()
	if err != nil {
		return nil, err
	}
	e.gauge.chamber = ch
	_, e.gauge.until = s.Engine.Sealed()
	return e, nil
}

// channel puts the samples of a channel, in a unit, into dst in SI; nothing if it is
// not there.
func (e *eyes) channel(name string, unit float64, dst []float64) []float64 {
	dst = dst[:0]
	i, ok := e.columns[name]
	if !ok {
		return dst
	}
	for _, v := range e.record.Values[i] {
		dst = append(dst, float64(v)*unit)
	}
	return dst
}

// look fills in what instruments tell of c in seen, which knows where the engine ran
// and what fired.
func (e *eyes) look(c *stream.Cycle, seen *control.Seen) error {
	if err := e.rig.Take(c, &e.record); err != nil {
		return err
	}
	name, unit := e.signal.Channel()
	in := &e.in
	in.Cycle, in.Theta, in.Spark, in.Speed, in.MAP = c.Number, c.Theta, seen.Fired.Leading, seen.Speed, seen.MAP
	in.Values = e.channel(name, unit, in.Values)
	seen.Single = e.reader.Read(in)
	seen.Reading = seen.Single
	if e.average != nil {
		e.average.Add(seen.Single)
		r := e.average.Result()
		seen.Reading = reader.Reading{Angle: r.Angle, Quality: r.Confidence}
		if r.Count == 0 {
			seen.Reading.Why = "no reading to average"
		}
	}
	seen.Trailing = reader.Reading{Angle: math.NaN(), Why: "no sensor"}
	if e.trailing != nil {
		e.other = *in
		e.other.Values = e.channel(sensor.TrailingChannel, unit, e.other.Values)
		if t := seen.Fired.Trailing; !math.IsNaN(t) {
			e.other.Spark = t
		}
		seen.Trailing = e.trailing.Read(&e.other)
	}
	seen.Theta, seen.Samples = in.Theta, in.Values
	seen.Peak, seen.IMEP, seen.Heat, seen.Knock = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if _, ok := e.columns["pressure_bar"]; ok {
		e.gauge.p = e.channel("pressure_bar", 1e5, e.gauge.p)
		seen.Peak, seen.IMEP, seen.Heat = e.gauge.read(c.Theta, -seen.Fired.Leading)
	}
	if _, ok := e.columns["knock_v"]; ok {
		e.ear.v = e.channel("knock_v", 1, e.ear.v)
		seen.Knock = e.ear.hear()
	}
	seen.Torque, seen.Airflow = e.bench.read(c)
	return nil
}

// gauge makes numbers of a pressure.
type gauge struct {
	chamber chamber.Chamber
	until   float64 // the exhaust opens [rad]
	p       []float64
	v, dv   []float64
}

// gaugeGamma is the ratio of specific heats of the apparent heat release [-] (common
// practice, no source: 1.30 to 1.35).
const gaugeGamma = 1.30

// read returns the greatest pressure [Pa], net IMEP [Pa] and the apparent net heat
// release from the spark until the exhaust opens [J],
//
//	Q = ∫ (γ·p·dV + V·dp) / (γ−1)   (Heywood 1988, section 9.2, from memory).
func (g *gauge) read(theta []float64, spark float64) (peak, imep, heat float64) {
	n := len(theta)
	if len(g.v) != n {
		g.v, g.dv = make([]float64, n), make([]float64, n)
		for i, t := range theta {
			g.v[i], g.dv[i] = g.chamber.Volume(t)
		}
	}
	work := 0.
	for i, p := range g.p {
		peak = math.Max(peak, p)
		work += p * g.dv[i] // dV is 0 at both ends of the row: the trapezium rule
		if i > 0 && theta[i-1] >= spark && theta[i] <= g.until {
			pm, vm := (p+g.p[i-1])/2, (g.v[i]+g.v[i-1])/2
			heat += (gaugeGamma*pm*(g.v[i]-g.v[i-1]) + vm*(p-g.p[i-1])) / (gaugeGamma - 1)
		}
	}
	return peak, work * (theta[1] - theta[0]) / g.chamber.Swept(), heat
}

// ear tells how loud a cycle knocks.
type ear struct {
	v     []float64
	usual float64 // logarithm of the loudness without knock
}

// How the usual loudness follows, which rises with load: by a share of the latest,
// unless that is so many times louder that it may be knock. Our own choice.
const (
	earShare = 0.02
	earLoud  = 3
)

// loudness is the logarithm of the greatest amplitude of the window; -Inf where
// nothing is heard.
func (e *ear) loudness() float64 {
	loud := 0.
	for _, v := range e.v {
		loud = math.Max(loud, math.Abs(v))
	}
	return math.Log(loud)
}

// hear returns the greatest amplitude of the window over the usual one; NaN where
// nothing is heard.
func (e *ear) hear() float64 {
	now := e.loudness()
	if math.IsInf(now, -1) {
		return math.NaN()
	}
	out := math.Exp(now - e.usual)
	if out < earLoud {
		e.usual += earShare * (now - e.usual)
	}
	return out
}

// The engine is listened to before the loop begins, far behind the base map, where it
// does not knock. Our own choice.
const (
	calmCycles = 48
	calmBehind = 20 * deg
)

// calm is what the knock sensor hears of an engine that does not knock.
type calm struct {
	once  sync.Once
	usual float64 // see ear
	err   error
}

// listen returns the usual loudness at the first leg of b: the median over some
// cycles, by instruments without a fault.
func (b *Bench) listen(ctx context.Context) (float64, error) {
	c := b.calm
	c.once.Do(func() {
		s := *b.Scenario
		s.Sensing.Faults = nil
		var e *eyes
		if e, c.err = newEyes(&s, calmSeed); c.err != nil {
			return
		}
		var all []float64
		spark := math.Max(s.Actuator.Least, b.Base.At(s.Legs[0].Operating.Speed, s.Legs[0].Operating.MAP)-calmBehind)
		for cycle, err := range b.stream.Steered(context.WithoutCancel(ctx), calmSeed, calmCycles, func(_ int, op *model.Operating) { op.Spark = spark }) {
			if c.err = err; c.err == nil {
				c.err = e.rig.Take(cycle, &e.record)
			}
			if c.err != nil {
				return
			}
			e.ear.v = e.channel("knock_v", 1, e.ear.v)
			all = append(all, e.ear.loudness())
		}
		slices.Sort(all)
		c.usual = all[len(all)/2]
	})
	return c.usual, c.err
}

// calmSeed is of cycles that no run has.
const calmSeed = math.MaxUint64

// meter is the dynamometer and the air meter of the bench: they lag, and scatter.
type meter struct {
	seed            uint64
	torque, airflow float64
	begun           bool
}

// Our own choice: common meters are as good (no source).
const (
	meterLag   = 0.2   // [s]
	meterNoise = 0.003 // rms of a reading, relative
)

// read returns brake torque [N·m] and airflow [kg/s] as they are shown after c.
func (m *meter) read(c *stream.Cycle) (torque, airflow float64) {
	period := (c.Theta[1] - c.Theta[0]) * float64(len(c.Theta)) / c.Clock.Speed
	air := c.Charge * (1 - c.Residual) / period
	if !m.begun {
		m.torque, m.airflow, m.begun = c.Torque, air, true
	}
	keep := math.Exp(-period / meterLag)
	m.torque += (1 - keep) * (c.Torque - m.torque)
	m.airflow += (1 - keep) * (air - m.airflow)
	r := stream.Rand(m.seed, c.Number, stream.Metering)
	return m.torque * (1 + meterNoise*r.NormFloat64()), m.airflow * (1 + meterNoise*r.NormFloat64())
}

// String names the instruments, for titles.
func (s *Sensing) String() string {
	text := fmt.Sprintf("%s of %s", s.Reader, s.Signal)
	if s.Average != "" {
		text += fmt.Sprintf(", %s of %d", s.Average, s.Over)
	}
	return text
}
