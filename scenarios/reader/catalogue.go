package reader

import (
	"strings"

	"phasebench/model"
)

// readers in the order of Names.
var readers = []struct {
	name string
	of   []Signal
	make func(*base) (Reader, error)
}{
	{"maximum", []Signal{Pressure, Ion}, newMaximum},
	{"smoothed", []Signal{Pressure, Ion}, newSmoothed},
	{"parabola", []Signal{Pressure, Ion}, newParabola},
	{"derivative", []Signal{Pressure, Ion}, newDerivative},
	{"centroid", []Signal{Pressure, Ion}, newCentroid},
	{"chord", []Signal{Pressure, Ion}, newChord},
	{"template", []Signal{Pressure, Ion}, newTemplate},
	{"mirror", []Signal{Pressure}, newMirror},
	{"ca50", []Signal{Pressure}, newCA50},
	{"two-humps", []Signal{Ion}, newTwoHumps},
	{"tracker", []Signal{Ion}, newTracker},
}

// base is what a reader is made from.
type base struct {
	engine *model.Engine
	signal Signal
	window window // not opened yet, with the settings
}

// Names lists the readers of s.
func Names(s Signal) []string {
	var names []string
	for _, r := range readers {
		for _, of := range r.of {
			if of == s {
				names = append(names, r.name)
			}
		}
	}
	return names
}

// New returns the reader of that name for s on e; nil settings are the usual ones.
// Errors are a *model.Problem where a value is not allowed.
func New(name string, s Signal, e *model.Engine, set *Settings) (Reader, error) {
	if set == nil {
		set = UsualFor(s, e)
	}
	if err := set.Check(); err != nil {
		return nil, err
	}
	ch, err := e.Chamber()
	if err != nil {
		return nil, err
	}
	b := &base{engine: e, signal: s, window: window{set: *set, quiet: ch.Strokes().Exhaust}}
	for _, r := range readers {
		for _, of := range r.of {
			if r.name == name && of == s {
				return r.make(b)
			}
		}
	}
	return nil, &model.Problem{Key: "reader", Given: name, Want: "one of " + strings.Join(Names(s), ", ") + " for " + s.String()}
}
