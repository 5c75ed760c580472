package reader

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"phasebench/scenarios/child"
)

// Protocol is the version of what is spoken with an outside reader.
const Protocol = 1

// Header is the first line to an outside reader: a JSON object with the keys
// below. It is told once, and holds for every cycle.
type Header struct {
	Version   int       `json:"version"` // Protocol
	Signal    string    `json:"signal"`  // pressure or ion
	Unit      string    `json:"unit"`    // of the values: Pa or A
	Angles    []float64 `json:"angles_deg_atdc"`
	Samples   int       `json:"samples"` // in a cycle: as many as angles
	FromDeg   float64   `json:"from_deg"`
	ToDeg     float64   `json:"to_deg"`
	BlankMs   float64   `json:"blank_ms"`
	SmoothDeg float64   `json:"smooth_deg"`
}

// NewHeader returns the header for samples of s at theta [rad] under set.
func NewHeader(s Signal, theta []float64, set *Settings) Header {
	h := Header{
		Version: Protocol, Signal: s.String(), Unit: "Pa", Samples: len(theta), Angles: make([]float64, len(theta)),
		FromDeg: set.From / deg, ToDeg: set.To / deg, BlankMs: set.Blank * 1e3, SmoothDeg: set.Smooth / deg,
	}
	if s == Ion {
		h.Unit = "A"
	}
	for i, t := range theta {
		h.Angles[i] = t / deg
	}
	return h
}

// question is what an outside reader is asked of one cycle.
type question struct {
	Cycle    int       `json:"cycle"`
	SparkDeg float64   `json:"spark_deg_btdc"`
	SpeedRpm float64   `json:"speed_rpm"`
	MAPkPa   float64   `json:"map_kpa"`
	Values   []float64 `json:"values"`
}

// answer is what it says.
type answer struct {
	Angle   *float64 `json:"angle_deg_atdc"`
	Quality *float64 `json:"quality"`
	Why     string   `json:"why"`
}

// ErrOutside is wrapped by every failure of an outside reader.
var ErrOutside = errors.New("outside reader failed")

// Outside is a reader that is another program. Once it has failed it is dead:
// every further cycle is declined, and Err tells why.
type Outside struct {
	link   *child.Link
	angles int
	text   bytes.Buffer // the question
	write  *json.Encoder
}

// StartOutside starts the program argv[0] with arguments argv[1:] as a reader. It
// gets one JSON object a line on stdin: first the header,
//
//	{"version":1,"signal":"ion","unit":"A","angles_deg_atdc":[…],"samples":720,
//	 "from_deg":0,"to_deg":60,"blank_ms":1.5,"smooth_deg":5}
//
// in one line, then for every cycle
//
//	{"cycle":7,"spark_deg_btdc":22,"speed_rpm":2200,"map_kpa":80,"values":[…]}
//
// and answers each cycle, within limit, by one line on stdout,
//
//	{"angle_deg_atdc":14.5,"quality":0.8,"why":""}
//
// with null for the angle and a reason in why when it declines; quality is 0 to 1,
// and angles −360 to 360. It must flush after every line. End of stdin ends it. What
// it says on stderr is told if it fails. When ctx ends it is killed. It is killed with
// its process group and reaped; children it leaves are reaped by who adopts them.
func StartOutside(ctx context.Context, argv []string, header Header, limit time.Duration) (*Outside, error) {
	if header.Samples < 1 || len(header.Angles) != header.Samples {
		return nil, fmt.Errorf("%w: header: %d samples and %d angles: want as many, 1 or more", ErrOutside, header.Samples, len(header.Angles))
	}
	link, err := child.Start(ctx, argv, limit)
	if err != nil {
		return nil, child.Under(ErrOutside, err)
	}
	o := &Outside{link: link, angles: header.Samples}
	o.write = json.NewEncoder(&o.text) // ends every line
	err = o.write.Encode(header)
	if err == nil {
		err = link.Send(o.text.Bytes())
	}
	if err != nil {
		return nil, o.fail("header", err)
	}
	return o, nil
}

// Read implements Reader. The first failure kills the program.
func (o *Outside) Read(in *Input) Reading {
	if err := o.Err(); err != nil {
		return decline(err.Error())
	}
	r, err := o.ask(in)
	if err != nil {
		return decline(o.fail(fmt.Sprintf("cycle %d", in.Cycle), err).Error())
	}
	return r
}

// Reset implements Reader: nothing. An outside program starts afresh when it is
// started again.
func (*Outside) Reset() {}

// Err tells why the program was given up; nil while it does its work.
func (o *Outside) Err() error { return child.Under(ErrOutside, o.link.Err()) }

// ask asks for in and waits for the answer.
func (o *Outside) ask(in *Input) (Reading, error) {
	if !whole(in) || len(in.Theta) != o.angles {
		return decline(whyBroken), nil
	}
	o.text.Reset()
	if err := o.write.Encode(question{in.Cycle, in.Spark / deg, in.Speed * 30 / math.Pi, in.MAP / 1e3, in.Values}); err != nil {
		return Reading{}, err
	}
	text, err := o.link.Ask(o.text.Bytes())
	if err != nil {
		return Reading{}, err
	}
	return understand(text)
}

// understand reads an answer.
func understand(text []byte) (Reading, error) {
	var a answer
	if err := json.Unmarshal(text, &a); err != nil {
		return Reading{}, fmt.Errorf("it said %q: want a JSON object", child.Brief(text))
	}
	if a.Angle == nil {
		if a.Why == "" {
			return Reading{}, fmt.Errorf("it said %q: want angle_deg_atdc, or null and a reason in why", child.Brief(text))
		}
		return decline(a.Why), nil
	}
	if !(*a.Angle >= -360 && *a.Angle <= 360) {
		return Reading{}, fmt.Errorf("angle_deg_atdc = %g, want -360 to 360 or null", *a.Angle)
	}
	if a.Quality == nil || !(*a.Quality >= 0 && *a.Quality <= 1) {
		return Reading{}, fmt.Errorf("it said %q: want quality from 0 to 1", child.Brief(text))
	}
	return Reading{Angle: *a.Angle * deg, Quality: *a.Quality}, nil
}

// fail ends the program and tells, once and for all, why.
func (o *Outside) fail(where string, err error) error {
	return child.Under(ErrOutside, o.link.Fail(where, err))
}

// Close ends stdin, gives the program a moment to end, then kills it with its
// children. It returns Err, or how the program ended if that was not well.
func (o *Outside) Close() error { return child.Under(ErrOutside, o.link.Close()) }
