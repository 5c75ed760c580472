package control

import "math"

// Numbers that several laws have.
var (
	deadband = Number{"deadband_deg", "an error no greater is left alone", "deg", deg, 0, 20, 0}
	rate     = Number{"rate_deg", "most move in a cycle", "deg", deg, 0.01, 60, 5}
)

var integralKind = Kind{Name: "integral", About: "moves by a share of each error",
	Numbers: []Number{{"gain", "move over error", "deg/deg", 1, 0, 2, 0.1}, deadband, rate},
	make:    func(v values) Law { return &integral{v["gain"], v["deadband_deg"], v["rate_deg"]} }}

// integral moves the spark by a share of each error,
//
//	s' = s + K·(LPP − target),
//
// since a late peak asks for advance. With a plant of slope −a (a late peak a·1 deg
// for 1 deg of retard) and readings that scatter by σ, each for itself, it settles with
// the time constant −1/ln(1−K·a) cycles, about 1/(K·a), and the spark then scatters by
// σ·√(K/(a·(2−K·a))). A reading that declined moves nothing.
type integral struct{ gain, dead, rate float64 }

// Reset implements Law.
func (*integral) Reset() {}

// Next implements Law.
func (l *integral) Next(s *Seen) Order {
	return together(s.Ordered.Leading + bounded(l.gain*beyond(s.Reading.Angle-s.Target, l.dead), l.rate))
}

// beyond is e where it is greater than a deadband, else 0; 0 for what is no number,
// which is no error.
func beyond(e, dead float64) float64 {
	if !(math.Abs(e) > dead) || math.IsInf(e, 0) {
		return 0
	}
	return e
}

// bounded is v, no farther from 0 than most; 0 for NaN.
func bounded(v, most float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return math.Max(-most, math.Min(most, v))
}
