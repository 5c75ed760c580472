package control

import "math"

var fixedTrailingKind = Kind{Name: "fixed-trailing", About: "as integral, but the trailing plug stays where it is: the plugs move apart",
	Numbers: []Number{{"gain", "move over error", "deg/deg", 1, 0, 2, 0.1}, deadband, rate,
		{"trailing_deg", "spark of the trailing plug, before dead centre", "deg", deg, -60, 90, 15}},
	make: func(v values) Law {
		return &fixedTrailing{integral{v["gain"], v["deadband_deg"], v["rate_deg"]}, v["trailing_deg"]}
	}}

// fixedTrailing moves the leading plug by what integral does; the trailing plug fires at
// one angle, whatever the leading one does. A scenario must let its plugs move apart,
// and an engine have two: else it is integral.
type fixedTrailing struct {
	integral
	trailing float64
}

// Next implements Law.
func (l *fixedTrailing) Next(s *Seen) Order {
	o := l.integral.Next(s)
	if !math.IsNaN(s.Fired.Trailing) {
		o.Trailing = l.trailing
	}
	return o
}
