// Package reader gets from samples of one cycle to the angle of its pressure
// peak, and from the angles of many cycles to one number and how far to trust it.
//
// A Reader sees what a controller has, an Input, and never the truth. It answers
// every cycle with a Reading: an angle with a quality, or a reason why it has
// none. Some readers are plain on purpose: they read what is there, right or
// wrong, and the quality alone tells. A Combiner makes one number of the last
// cycles.
//
// Any program can be a reader: it gets a header and then one JSON line a cycle on
// stdin, and answers each by one on stdout, see StartOutside and, for one in Python,
// testdata/readers/peak.py.
package reader

import (
	"fmt"
	"math"

	"phasebench/model"
)

const deg = math.Pi / 180

// Signal is what the samples are of.
type Signal int

// Signals.
const (
	Pressure Signal = iota // in the chamber [Pa]
	Ion                    // current through the plug [A]
)

// String returns the name of s in files.
func (s Signal) String() string {
	if s == Ion {
		return "ion"
	}
	return "pressure"
}

// Channel is the channel of package sensor that has s, and its unit in SI.
func (s Signal) Channel() (name string, unit float64) {
	if s == Ion {
		return "ion_ua", 1e-6
	}
	return "pressure_bar", 1e5
}

// Input is one cycle as a controller has it.
type Input struct {
	Cycle  int
	Theta  []float64 // believed angles of the samples [rad], ascending, one cycle
	Values []float64 // one per angle: pressure [Pa] or ion current [A]
	Spark  float64   // commanded spark advance [rad]
	Speed  float64   // mean shaft speed [rad/s]
	MAP    float64   // manifold absolute pressure [Pa]
}

// Reading is what a reader makes of one cycle.
type Reading struct {
	Angle   float64 // of the pressure peak [rad]; NaN when it declines
	Quality float64 // 0: worthless, to 1; 0 when it declines
	Why     string  // the reason when it declines; "" else
	Humps   int     // how many humps it saw; 0: it does not look
}

// decline returns the reading of a reader that has none.
func decline(why string) Reading { return Reading{Angle: math.NaN(), Why: why} }

// Reader reads successive cycles. It may keep what it learns from one to the
// next, and serves one stream of cycles in one goroutine.
type Reader interface {
	Read(in *Input) Reading
	Reset() // forget: the next cycle is the first
}

// Reasons to decline that several readers share.
const (
	whyBroken  = "samples are not one to an angle, ascending and finite"
	whyBlanked = "the window is blanked"
	whyFlat    = "no peak above the noise"
	whyEdge    = "the peak is at the edge of the window"
)

// Settings of readers. Angles are those of the samples. The tracker goes by Blank
// alone.
type Settings struct {
	From, To float64 // the window [rad], −π to π
	Blank    float64 // samples are not looked at for so long from the spark on [s], 0 to 20 ms
	Smooth   float64 // width at half height of the filter [rad], 0.1 to 30 deg
	Least    float64 // a peak lower than so many times the noise is none [-], 0 to 100
	Exponent float64 // of compression and expansion, for readers of pressure [-], 1.1 to 1.45
	Share    float64 // of the height of the peak at which chord cuts it [-], 0.5 to 0.99
}

// Usual returns the settings that readers of s begin with. Our own choice within
// common practice (no source): a window that leaves out the flame-front hump of a
// spark near MBT from an ion current, and holds dead centre in a pressure; blanking
// for a spark of 1 ms and most of the ringing after it; a chord as high as noise allows.
func Usual(s Signal) *Settings {
	set := &Settings{From: -20 * deg, To: 70 * deg, Smooth: 5 * deg, Least: 5, Exponent: 1.30, Share: 0.95}
	if s == Ion {
		set.From, set.To, set.Blank = 0, 60*deg, 1.5e-3
	}
	return set
}

// UsualFor is Usual for e: where a cycle takes more than four strokes of 180 degrees,
// as of a rotor, window and filter are as much wider. Our own choice.
func UsualFor(s Signal, e *model.Engine) *Settings {
	set := Usual(s)
	ch, err := e.Chamber()
	if err != nil {
		return set // e is not in order, which others tell
	}
	stretch := ch.Strokes().Period() / (4 * math.Pi)
	set.From, set.To, set.Smooth = stretch*set.From, stretch*set.To, stretch*set.Smooth
	return set
}

// Check returns a *model.Problem about the first setting out of its range, or nil.
func (s *Settings) Check() error {
	if err := within("reader.from_deg", s.From/deg, -180, 180); err != nil {
		return err
	}
	if err := within("reader.to_deg", s.To/deg, s.From/deg+1, 180); err != nil {
		return err
	}
	if err := within("reader.blank_ms", s.Blank*1e3, 0, 20); err != nil {
		return err
	}
	if err := within("reader.smooth_deg", s.Smooth/deg, 0.1, 30); err != nil {
		return err
	}
	if err := within("reader.least", s.Least, 0, 100); err != nil {
		return err
	}
	if err := within("reader.exponent", s.Exponent, 1.1, 1.45); err != nil {
		return err
	}
	return within("reader.share", s.Share, 0.5, 0.99)
}

// within returns a *model.Problem if v is not within low to high, or nil.
func within(key string, v, low, high float64) error {
	const slack = 1e-9 // what scaling rounds
	if room := slack * (high - low); !(v >= low-room && v <= high+room) {
		return &model.Problem{Key: key, Given: fmt.Sprintf("%.6g", v), Want: fmt.Sprintf("%g to %g", low, high)}
	}
	return nil
}
