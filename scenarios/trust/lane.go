package trust

import (
	"context"
	"math"
	"time"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// cause is one thing that may make a reading wrong, and how to do without it.
type cause struct {
	name     string
	of       func(s reader.Signal) bool          // nil: of every signal
	setup    func(s *sensor.Setup)               // nil: the instruments stay
	settings func(s *reader.Settings)            // nil: the reader stays
	cycle    func(c *stream.Cycle)               // nil: the cycle stays
	input    func(ch chamber.Chamber, in *input) // nil: the samples stay
	counts   func(c *stream.Cycle) bool          // nil: all cycles count
	angle    func(a, period float64) float64     // nil: the reading stays
}

// input is what a reader is given, in a buffer that may be changed.
type input struct{ reader.Input }

func ofIon(s reader.Signal) bool      { return s == reader.Ion }
func ofPressure(s reader.Signal) bool { return s == reader.Pressure }

// causes lists what may make a reading wrong. A flip is put down to those without
// which it moves.
var causes = []cause{
	{name: "peak outside the window", settings: func(s *reader.Settings) { s.From, s.To = -60*deg, 110*deg }},
	{name: "ignition and its ringing, or their blanking", of: ofIon,
		setup: func(s *sensor.Setup) {
			for _, p := range []*sensor.Ion{s.Ion, s.Trailing} {
				if p != nil {
					p.Strike, p.Ringing, p.Blank = 0, 0, 0
				}
			}
		}, settings: func(s *reader.Settings) { s.Blank = 0 }},
	{name: "humps merged or swapped", of: ofIon,
		setup: func(s *sensor.Setup) {
			for _, p := range []*sensor.Ion{s.Ion, s.Trailing} {
				if p != nil {
					p.Flame = 0
				}
			}
		}},
	{name: "motored hump wins", of: ofPressure, input: unmotored},
	{name: "knock ringing", cycle: func(c *stream.Cycle) {
		c.Knocking, c.KnockIntensity, c.KnockOnset = false, 0, math.NaN()
	}},
	{name: "noise and scatter of the sensor",
		setup: func(s *sensor.Setup) {
			if s.Pressure != nil {
				s.Pressure.Noise = 0
			}
			for _, p := range []*sensor.Ion{s.Ion, s.Trailing} {
				if p != nil {
					p.Scatter, p.Shift, p.Noise = 0, 0, 0
				}
			}
		}},
	{name: "misfire or partial burn", counts: func(c *stream.Cycle) bool { return !c.Misfire && !c.PartialBurn }},
	{name: "angle wrapped", angle: func(a, period float64) float64 {
		a = math.Mod(a, period)
		switch {
		case a > period/2:
			a -= period
		case a < -period/2:
			a += period
		}
		if a > math.Pi { // a whole turn off
			a -= 2 * math.Pi
		}
		return a
	}},
}

// unmotored takes from a pressure what it would be without burning: the samples
// at the spark, carried on along a polytrope.
func unmotored(ch chamber.Chamber, in *input) {
	k := 0
	for k < len(in.Theta)-1 && in.Theta[k] < -in.Spark {
		in.Values[k] = 0
		k++
	}
	const exponent = 1.31 // between those of compression and expansion of a charge that does not burn (common practice, no source)
	v0, _ := ch.Volume(in.Theta[k])
	p0 := in.Values[k]
	for ; k < len(in.Theta); k++ {
		v, _ := ch.Volume(in.Theta[k])
		in.Values[k] -= p0 * math.Pow(v0/v, exponent)
	}
}

// lane is one reader behind instruments of its own.
type lane struct {
	name    string
	cause   *cause // that this lane does without; nil: none
	rig     *sensor.Rig
	column  int     // of the record
	unit    float64 // of its samples
	behind  float64 // where the plug is the trailing one: 1, else 0
	record  sensor.Record
	reader  reader.Reader
	program *reader.Outside // the reader, if it is one; else nil
	in      input
	reading reader.Reading // of the cycle read last, as the reader gave it
	cycle   stream.Cycle   // changed
	spent   float64        // by the reader [s]
	reads   float64        // for which
}

// newLane returns the lane of p with reader name without c. It must be closed.
func newLane(ctx context.Context, p *Plan, name string, c *cause) (*lane, error) {
	l := &lane{name: name, cause: c}
	setup, settings := p.Setup, *p.Settings
	copied(&setup)
	if c != nil {
		if c.setup != nil {
			c.setup(&setup)
		}
		if c.settings != nil {
			c.settings(&settings)
		}
	}
	var err error
	if l.rig, err = sensor.New(p.Engine, setup, p.Seed); err != nil {
		return nil, err
	}
	var channel string
	channel, l.unit = p.Signal.Channel()
	if p.Trailing {
		channel, l.behind = sensor.TrailingChannel, 1
	}
	l.column = -1
	for i, ch := range l.rig.Channels() {
		if ch.Name == channel {
			l.column = i
		}
	}
	if l.column < 0 {
		return nil, &model.Problem{Key: "signal", Given: channel, Want: "a sensor of it, and for the trailing plug's an engine with two"}
	}
	if name != Outside {
		l.reader, err = reader.New(name, p.Signal, p.Engine, &settings)
		return l, err
	}
	if err := settings.Check(); err != nil {
		return nil, err
	}
	ch, err := p.Engine.Chamber()
	if err != nil {
		return nil, err
	}
	strokes := ch.Strokes()
	theta := make([]float64, stream.UsualSamples(strokes))
	for k := range theta {
		theta[k] = strokes.Start + strokes.Period()*float64(k)/float64(len(theta))
	}
	l.program, err = reader.StartOutside(ctx, p.Program, reader.NewHeader(p.Signal, theta, &settings), p.Limit)
	l.reader = l.program
	return l, err
}

// close ends the program of l, if it is one.
func (l *lane) close() error {
	if l.program == nil {
		return nil
	}
	return l.program.Close()
}

// copied makes the instruments of s its own.
func copied(s *sensor.Setup) {
	if s.Pressure != nil {
		p := *s.Pressure
		s.Pressure = &p
	}
	if s.Ion != nil {
		p := *s.Ion
		s.Ion = &p
	}
	if s.Trailing != nil {
		p := *s.Trailing
		s.Trailing = &p
	}
}

// observation is one cycle: what was read of it, and what was true.
type observation struct {
	read   float64 // [rad]; NaN where the reader declined
	truth  float64 // see stream.Truth.Hump [rad]
	counts bool
}

// read takes c.
func (l *lane) read(c *stream.Cycle, ch chamber.Chamber) (observation, error) {
	if l.cause != nil && l.cause.cycle != nil {
		l.cycle = *c
		c = &l.cycle
		l.cause.cycle(c)
	}
	if err := l.rig.Take(c, &l.record); err != nil {
		return observation{}, err
	}
	in := &l.in
	in.Cycle, in.Theta, in.Spark, in.Speed, in.MAP = c.Number, c.Theta, c.Operating.Spark-l.behind*c.Operating.Split, c.Clock.Speed, c.Operating.MAP
	in.Values = in.Values[:0]
	for _, v := range l.record.Values[l.column] {
		in.Values = append(in.Values, float64(v)*l.unit)
	}
	if l.cause != nil && l.cause.input != nil {
		l.cause.input(ch, in)
	}
	start := time.Now()
	l.reading = l.reader.Read(&in.Input)
	l.spent += time.Since(start).Seconds()
	l.reads++
	if l.program != nil && l.program.Err() != nil {
		return observation{}, l.program.Err()
	}
	o := observation{read: l.reading.Angle, truth: c.Hump(), counts: true}
	if l.cause != nil {
		if l.cause.angle != nil {
			o.read = l.cause.angle(o.read, ch.Strokes().Period())
		}
		if l.cause.counts != nil {
			o.counts = l.cause.counts(c)
		}
	}
	return o, nil
}
