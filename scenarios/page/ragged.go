package page

import (
	"context"
	"math"
	"strings"

	"phasebench/model"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// Of ragged cycles.
const (
	mostCycles  = 200       // of one answer
	mostFirst   = 100_000   // cycle that it begins with
	mostStreams = 6         // kept; each has a surface of some megabytes
	warmUp      = 256       // cycles before the first that a reader with a memory sees
	shownFrom   = -60 * deg // of the traces
	shownTo     = 120 * deg
)

// streamKey is what streams differ by.
type streamKey struct {
	engineKey
	op   model.Operating
	seed uint64
}

// streamed is a stream, made when it is first needed.
type streamed struct {
	turns turns // one makes it, the others wait
	s     *stream.Stream
}

// streamOf returns the stream of q's engine at its point.
func (p *Page) streamOf(ctx context.Context, q *query) (*stream.Stream, error) {
	draws := uint64(q.whole("seed"))
	b := p.streams.of(streamKey{engineKey{q.engine.Name, *q.engine.Ratio()}, q.engine.Point, draws}, func() *streamed {
		return &streamed{turns: newTurns(1, mostWaiting)}
	})
	end, err := b.turns.take(ctx)
	if err != nil {
		return nil, err
	}
	defer end()
	if b.s == nil {
		b.s, err = stream.New(q.engine, stream.Schedule{{Operating: q.engine.Point}}, &stream.Settings{Seed: draws})
	}
	return b.s, err
}

// rig returns the instruments of q: what it reads, and nothing else.
func (q *query) rig() (sensor.Setup, error) {
	set := sensor.Usual(q.engine)
	set.Wheel = nil
	if q.signal() == reader.Ion {
		set.Pressure = nil
	} else {
		set.Ion = nil
	}
	var err error
	set.Faults, err = q.faults()
	return set, err
}

// mostFaults is how many a client may ask for at once.
const mostFaults = 20

// faults are those of q. Errors are a *model.Problem.
func (q *query) faults() (all []sensor.Fault, err error) {
	text := q.words["faults"]
	if text == "" {
		return nil, nil
	}
	parts := strings.Split(text, ",")
	if len(parts) > mostFaults {
		return nil, &model.Problem{Key: "faults", Given: text, Want: "20 or fewer"}
	}
	for _, part := range parts {
		f, err := sensor.ParseFault(part)
		if err != nil {
			return nil, err
		}
		all = append(all, f)
	}
	return all, nil
}

// raggedAnswer is successive cycles that differ; the keys are a contract with the
// page. The numbers are rows with a value for each cycle, named as in files.
type raggedAnswer struct {
	First   int                `json:"first"`
	Numbers map[string]numbers `json:"numbers"`
	Misfire []bool             `json:"misfire"`
	Why     []string           `json:"why"`   // the reader declined; "": it did not
	Theta   numbers            `json:"theta"` // of the traces [deg after TDC]
	// A row of each cycle: the true pressure, and the signal as the reader gets it.
	Pressure []numbers `json:"pressure_bar"`
	Signal   []numbers `json:"signal"`
	Unit     string    `json:"unit"` // of the signal
	MBT      *float64  `json:"mbt_deg_btdc"`
}

// raggedTakes is what ragged cycles depend on.
var raggedTakes = seeing.with(seed, number{"cycles", 1, mostCycles, 100, true}, number{"first", 0, mostFirst, 0, true})

// ragged makes successive cycles, and lets a reader look at them.
func (p *Page) ragged(ctx context.Context, q *query) (any, error) {
	s, err := p.streamOf(ctx, q)
	if err != nil {
		return nil, err
	}
	set, err := q.rig()
	if err != nil {
		return nil, err
	}
	rig, err := sensor.New(q.engine, set, uint64(q.whole("seed")))
	if err != nil {
		return nil, err
	}
	r, err := reader.New(q.words["reader"], q.signal(), q.engine, nil)
	if err != nil {
		return nil, err
	}
	first := q.whole("first")
	a := raggedAnswer{First: first, Unit: rig.Channels()[0].Unit}
	_, unit := q.signal().Channel()
	var took sensor.Record
	var in reader.Input
	var lpp, hump, peak, imep, read []float64
	for c, err := range s.Cycles(ctx, max(0, first-warmUp), first+q.whole("cycles")) {
		if err == nil {
			err = rig.Take(c, &took)
		}
		if err != nil {
			return nil, err
		}
		in.Cycle, in.Theta, in.Spark, in.Speed, in.MAP = c.Number, c.Theta, c.Operating.Spark, c.Clock.Speed, c.Operating.MAP
		in.Values = in.Values[:0]
		for _, v := range took.Values[0] {
			in.Values = append(in.Values, float64(v)*unit)
		}
		reading := r.Read(&in)
		if c.Number < first {
			continue
		}
		from, to := window(c.Theta)
		a.Theta = numbers{values: append([]float64(nil), c.Theta[from:to]...), unit: deg, digits: 6}
		a.Pressure = append(a.Pressure, numbers{append([]float64(nil), c.Pressure[from:to]...), 1e5, 5})
		a.Signal = append(a.Signal, numbers{append([]float64(nil), in.Values[from:to]...), unit, 5})
		lpp, hump, peak = append(lpp, c.LPP), append(hump, c.Hump()), append(peak, c.Peak)
		imep, read = append(imep, c.IMEPGross), append(read, reading.Angle)
		a.Misfire, a.Why = append(a.Misfire, c.Misfire), append(a.Why, reading.Why)
		a.MBT = record.Number(c.MBT, deg)
	}
	a.Numbers = map[string]numbers{
		"lpp_deg_atdc": {values: lpp, unit: deg}, "true_peak_deg_atdc": {values: hump, unit: deg}, "pmax_bar": {values: peak, unit: 1e5},
		"imep_gross_bar": {values: imep, unit: 1e5}, "read_deg_atdc": {values: read, unit: deg},
	}
	return a, ctx.Err()
}

// window is which samples are shown.
func window(theta []float64) (from, to int) {
	for from < len(theta)-1 && theta[from] < shownFrom-1e-9 {
		from++
	}
	to = from
	for to < len(theta) && theta[to] < math.Nextafter(shownTo, 10) {
		to++
	}
	return from, to
}
