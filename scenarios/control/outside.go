package control

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"strconv"
	"time"

	"phasebench/scenarios/child"
	"phasebench/scenarios/reader"
)

// Protocol is the version of what is spoken with an outside law.
const Protocol = 1

// ErrOutside is wrapped by every failure of an outside law.
var ErrOutside = errors.New("outside law failed")

// Terms is what is agreed with an outside law before the first cycle.
type Terms struct {
	Binary      bool // frames in place of JSON lines
	Samples     bool // it gets samples of the signal, not what a reader makes of them
	Limit       time.Duration
	Signal      reader.Signal
	Theta       []float64 // angles of the samples [rad]
	Plugs       int
	Least, Most float64 // sparks that the coil driver fires [rad]
}

// hello is the first line to an outside law.
type hello struct {
	Version int               `json:"version"`
	Framing string            `json:"framing"` // json or binary
	Sees    string            `json:"sees"`    // reading or samples
	Limit   float64           `json:"limit_ms"`
	Plugs   int               `json:"plugs"`
	Least   float64           `json:"least_deg_btdc"`
	Most    float64           `json:"most_deg_btdc"`
	Fields  []string          `json:"fields"` // of every cycle, in the order of a frame; units are in the names
	Signal  string            `json:"signal"`
	Unit    string            `json:"unit"` // of samples
	Angles  []float64         `json:"angles_deg_atdc,omitempty"`
	Signs   map[string]string `json:"signs"`
}

// greeting is what it answers.
type greeting struct {
	Version int    `json:"version"`
	Name    string `json:"name"`
}

// field is one number of a cycle as an outside law gets it.
type field struct {
	key     string
	reading bool // left out for a law that gets samples
	of      func(*Seen) float64
}

// fields in the order of a frame.
var fields = []field{
	{"time_s", false, func(s *Seen) float64 { return s.Time }},
	{"speed_rpm", false, func(s *Seen) float64 { return s.Speed * 30 / math.Pi }},
	{"map_kpa", false, func(s *Seen) float64 { return s.MAP / 1e3 }},
	{"base_deg_btdc", false, func(s *Seen) float64 { return s.Base / deg }},
	{"target_deg_atdc", false, func(s *Seen) float64 { return s.Target / deg }},
	{"ordered_deg_btdc", false, func(s *Seen) float64 { return s.Ordered.Leading / deg }},
	{"spark_deg_btdc", false, func(s *Seen) float64 { return s.Fired.Leading / deg }},
	{"trailing_spark_deg_btdc", false, func(s *Seen) float64 { return s.Fired.Trailing / deg }},
	{"knock_loudness", false, func(s *Seen) float64 { return s.Knock }},
	{"pmax_bar", false, func(s *Seen) float64 { return s.Peak / 1e5 }},
	{"imep_bar", false, func(s *Seen) float64 { return s.IMEP / 1e5 }},
	{"brake_torque_nm", false, func(s *Seen) float64 { return s.Torque }},
	{"airflow_g_s", false, func(s *Seen) float64 { return s.Airflow * 1e3 }},
	{"read_deg_atdc", true, func(s *Seen) float64 { return s.Reading.Angle / deg }},
	{"quality", true, func(s *Seen) float64 { return s.Reading.Quality }},
	{"trailing_read_deg_atdc", true, func(s *Seen) float64 { return s.Trailing.Angle / deg }},
}

// Outside is a law that is another program. Once it has failed it is dead: it orders
// NaN, which no guard lets pass, and Err tells why.
type Outside struct {
	terms  Terms
	link   *child.Link
	name   string
	fields []field
	turn   []byte
	answer [16]byte
}

// StartOutside starts the program argv[0] with arguments argv[1:] as a law.
//
// It gets one line of JSON, which says what is agreed:
//
//	{"version":1,"framing":"json","sees":"reading","limit_ms":100,"plugs":1,
//	 "least_deg_btdc":-10,"most_deg_btdc":60,"fields":["time_s",…],"signal":"ion","unit":"A",
//	 "signs":{…}}
//
// and with "sees":"samples" also "angles_deg_atdc":[…]. It answers by one line,
//
//	{"version":1,"name":"my law"}
//
// From then on there is one turn a cycle, in order, within the time limit. With
// "framing":"json" a turn is a line with all fields, null for what is not measured,
//
//	{"cycle":7,"time_s":0.64,"speed_rpm":1500.2,…,"read_deg_atdc":14.5,"quality":0.8}
//
// with "sees":"samples" also "samples":[…] in place of what a reader says; the answer
// is a line with the sparks for the cycles to come,
//
//	{"spark_deg_btdc":21.5,"trailing_spark_deg_btdc":null}
//
// where the second may be left out, and is null where that plug moves along. With
// "framing":"binary" everything after the two lines is little-endian: a turn is a
// uint32, the length of what follows; a uint32, the cycle; a float64 for each field,
// NaN for what is not measured; a uint32, the count of samples, and a float32 for
// each. The answer is two float64, the sparks of both plugs, NaN for one that moves
// along.
//
// ordered_deg_btdc is the last order as the guard let it pass: a law should go on
// from there. It must flush after every answer, and say nothing unasked. End of
// stdin ends it. What it says on stderr is told if it fails. It is killed with its
// process group.
func StartOutside(ctx context.Context, argv []string, terms Terms) (*Outside, error) {
	link, err := child.Start(ctx, argv, terms.Limit)
	return greeted(link, err, terms)
}

// DialOutside speaks the same with a program that listens on this machine, at an
// address such as 127.0.0.1:4000.
func DialOutside(ctx context.Context, address string, terms Terms) (*Outside, error) {
	link, err := child.Dial(ctx, address, terms.Limit)
	return greeted(link, err, terms)
}

// greeted agrees on terms over link.
func greeted(link *child.Link, err error, terms Terms) (*Outside, error) {
	if err != nil {
		return nil, child.Under(ErrOutside, err)
	}
	o := &Outside{terms: terms, link: link}
	h := hello{
		Version: Protocol, Framing: "json", Sees: "reading", Limit: float64(terms.Limit) / float64(time.Millisecond), Plugs: terms.Plugs,
		Least: terms.Least / deg, Most: terms.Most / deg, Signal: terms.Signal.String(), Unit: "Pa",
		Signs: map[string]string{"deg_btdc": "spark advance, positive before firing dead centre", "deg_atdc": "positive after it"},
	}
	if terms.Signal == reader.Ion {
		h.Unit = "A"
	}
	if terms.Binary {
		h.Framing = "binary"
	}
	if terms.Samples {
		h.Sees = "samples"
		for _, t := range terms.Theta {
			h.Angles = append(h.Angles, t/deg)
		}
	}
	for _, f := range fields {
		if f.reading && terms.Samples {
			continue
		}
		o.fields, h.Fields = append(o.fields, f), append(h.Fields, f.key)
	}
	first, err := json.Marshal(h)
	if err != nil {
		return nil, o.fail("greeting", err)
	}
	text, err := link.Ask(append(first, '\n'))
	if err != nil {
		return nil, o.fail("greeting", err)
	}
	var g greeting
	if err := json.Unmarshal(text, &g); err != nil || g.Version != Protocol || g.Name == "" {
		return nil, o.fail("greeting", fmt.Errorf("it said %q: want {\"version\":%d,\"name\":\"…\"}", child.Brief(text), Protocol))
	}
	o.name = g.Name
	return o, nil
}

// Name is what it calls itself.
func (o *Outside) Name() string { return o.name }

// Reset implements Law: nothing. An outside program starts afresh when it is started
// again.
func (*Outside) Reset() {}

// Err tells why it was given up; nil while it does its work.
func (o *Outside) Err() error { return child.Under(ErrOutside, o.link.Err()) }

// Next implements Law. The first failure kills the program.
func (o *Outside) Next(s *Seen) Order {
	if o.link.Err() != nil {
		return together(math.NaN())
	}
	order, err := o.ask(s)
	if err != nil {
		o.fail("cycle "+strconv.Itoa(s.Cycle), err)
		return together(math.NaN())
	}
	return order
}

func (o *Outside) ask(s *Seen) (Order, error) {
	if o.terms.Binary {
		o.frame(s)
		err := o.link.Begin()
		if err == nil {
			err = o.link.Send(o.turn)
		}
		if err == nil {
			err = o.link.Full(o.answer[:])
		}
		at := func(i int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(o.answer[i:])) * deg }
		return Order{at(0), at(8)}, err
	}
	o.line(s)
	text, err := o.link.Ask(o.turn)
	if err != nil {
		return Order{}, err
	}
	var a struct {
		Spark    *float64 `json:"spark_deg_btdc"`
		Trailing *float64 `json:"trailing_spark_deg_btdc"`
	}
	if err := json.Unmarshal(text, &a); err != nil || a.Spark == nil {
		return Order{}, fmt.Errorf("it said %q: want {\"spark_deg_btdc\":…}", child.Brief(text))
	}
	order := together(*a.Spark * deg)
	if a.Trailing != nil {
		order.Trailing = *a.Trailing * deg
	}
	return order, nil
}

// frame lays s out in o.turn as bytes.
func (o *Outside) frame(s *Seen) {
	le, b := binary.LittleEndian, append(o.turn[:0], 0, 0, 0, 0)
	b = le.AppendUint32(b, uint32(s.Cycle))
	for _, f := range o.fields {
		b = le.AppendUint64(b, math.Float64bits(f.of(s)))
	}
	var samples []float64
	if o.terms.Samples {
		samples = s.Samples
	}
	b = le.AppendUint32(b, uint32(len(samples)))
	for _, v := range samples {
		b = le.AppendUint32(b, math.Float32bits(float32(v)))
	}
	le.PutUint32(b, uint32(len(b)-4))
	o.turn = b
}

// line lays s out in o.turn as a line of JSON.
func (o *Outside) line(s *Seen) {
	b := append(o.turn[:0], `{"cycle":`...)
	b = strconv.AppendInt(b, int64(s.Cycle), 10)
	number := func(v float64) {
		if !finite(v) {
			b = append(b, "null"...)
			return
		}
		b = strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	for _, f := range o.fields {
		b = append(b, ',', '"')
		b = append(b, f.key...)
		b = append(b, '"', ':')
		number(f.of(s))
	}
	if o.terms.Samples {
		b = append(b, `,"samples":[`...)
		for i, v := range s.Samples {
			if i > 0 {
				b = append(b, ',')
			}
			b = strconv.AppendFloat(b, v, 'g', 7, 64)
		}
		b = append(b, ']')
	}
	o.turn = append(b, '}', '\n')
}

// fail ends the program and tells, once and for all, why.
func (o *Outside) fail(where string, err error) error {
	return child.Under(ErrOutside, o.link.Fail(where, err))
}

// Close ends the program, or the connection. It returns Err, or how the program
// ended if that was not well.
func (o *Outside) Close() error { return child.Under(ErrOutside, o.link.Close()) }
