package chamber

import (
	"errors"
	"fmt"
	"math"
)

// ErrGeometry is wrapped by every error about impossible dimensions.
var ErrGeometry = errors.New("impossible geometry")

// Crank describes a slider-crank chamber.
type Crank struct {
	Bore   float64 // piston diameter [m], > 0
	Stroke float64 // twice the crank radius [m], > 0
	Rod    float64 // connecting rod between centres [m], > Stroke/2 + |Offset|; +Inf: the piston moves as a pure cosine
	Offset float64 // pin offset: distance of the pin's path from the crank axis [m], positive towards the side the crank pin moves to after top dead centre
	Ratio  float64 // compression ratio [-], > 1

	HeadArea   float64 // head surface over bore area [-]; 0 means 1
	PistonArea float64 // piston crown surface over bore area [-]; 0 means 1
}

// SliderCrank is the exact slider-crank, four strokes a cycle:
//
//	x(φ) = √((l+r)²−d²) − r cos φ − √(l² − (r sin φ − d)²),  V = Vc + πB²/4·x
//
// with φ = θ + asin(d/(l+r)), so that θ = 0 at top dead centre for every pin
// offset d. With d ≠ 0 the travel is a little more than the stroke 2r, and
// bottom dead centre is not half a turn away. Source: plane geometry;
// Heywood, Internal Combustion Engine Fundamentals, 1988, section 2.2 for
// d = 0.
type SliderCrank struct {
	r, l, d     float64 // crank radius, rod, pin offset [m]
	phi0        float64 // crank angle from the cylinder axis at top dead centre [rad]
	top         float64 // pin height at top dead centre [m]
	area, bore  float64 // [m²], [m]
	clearance   float64 // [m³]
	travel      float64 // [m]
	strokes     Strokes
	head, crown float64 // fixed wall areas [m²]
}

// NewSliderCrank returns the chamber of c, or an error that wraps ErrGeometry.
func NewSliderCrank(c Crank) (*SliderCrank, error) {
	bad := func(what string, given float64, want string) (*SliderCrank, error) {
		return nil, fmt.Errorf("chamber: %s = %g, want %s: %w", what, given, want, ErrGeometry)
	}
	switch {
	case !(c.Bore > 0) || math.IsInf(c.Bore, 0):
		return bad("Crank.Bore", c.Bore, "> 0 m")
	case !(c.Stroke > 0) || math.IsInf(c.Stroke, 0):
		return bad("Crank.Stroke", c.Stroke, "> 0 m")
	case !(c.Rod > c.Stroke/2+math.Abs(c.Offset)):
		return bad("Crank.Rod", c.Rod, fmt.Sprintf("> Stroke/2 + |Offset| = %g m", c.Stroke/2+math.Abs(c.Offset)))
	case !(c.Ratio > 1) || math.IsInf(c.Ratio, 0):
		return bad("Crank.Ratio", c.Ratio, "> 1")
	case !(c.HeadArea >= 0):
		return bad("Crank.HeadArea", c.HeadArea, ">= 0")
	case !(c.PistonArea >= 0):
		return bad("Crank.PistonArea", c.PistonArea, ">= 0")
	}
	s := &SliderCrank{r: c.Stroke / 2, l: c.Rod, d: c.Offset, bore: c.Bore, area: math.Pi * c.Bore * c.Bore / 4}
	bottom := math.Pi
	if math.IsInf(s.l, 0) {
		s.travel = 2 * s.r
	} else {
		s.phi0 = math.Asin(s.d / (s.l + s.r))
		s.top = math.Sqrt((s.l+s.r)*(s.l+s.r) - s.d*s.d)
		s.travel = s.top - math.Sqrt((s.l-s.r)*(s.l-s.r)-s.d*s.d)
		bottom += math.Asin(s.d/(s.l-s.r)) - s.phi0
	}
	s.clearance = Clearance(s.Swept(), c.Ratio)
	s.strokes = Strokes{Start: -2 * math.Pi, Compression: bottom - 2*math.Pi, Exhaust: bottom, End: 2 * math.Pi}
	s.head, s.crown = s.area, s.area
	if c.HeadArea > 0 {
		s.head *= c.HeadArea
	}
	if c.PistonArea > 0 {
		s.crown *= c.PistonArea
	}
	return s, nil
}

// position returns the piston's way from top dead centre x [m] and dx/dθ.
func (s *SliderCrank) position(theta float64) (x, dx float64) {
	sin, cos := math.Sincos(theta + s.phi0)
	if math.IsInf(s.l, 0) {
		return s.r * (1 - cos), s.r * sin
	}
	q := s.r*sin - s.d
	root := math.Sqrt(s.l*s.l - q*q)
	return s.top - s.r*cos - root, s.r*sin + q*s.r*cos/root
}

// Volume implements Chamber.
func (s *SliderCrank) Volume(theta float64) (v, dv float64) {
	x, dx := s.position(theta)
	return s.clearance + s.area*x, s.area * dx
}

// Walls implements Chamber. The liner area is that of a cylinder as high as
// the whole chamber would be if the clearance were a disc of the bore.
func (s *SliderCrank) Walls(theta float64) Walls {
	x, _ := s.position(theta)
	return Walls{Head: s.head, Piston: s.crown, Liner: math.Pi * s.bore * (x + s.clearance/s.area)}
}

// Strokes implements Chamber.
func (s *SliderCrank) Strokes() Strokes { return s.strokes }

// Swept implements Chamber.
func (s *SliderCrank) Swept() float64 { return s.area * s.travel }

// Clearance is the volume at top dead centre [m³].
func (s *SliderCrank) Clearance() float64 { return s.clearance }

// Travel is the piston's way between dead centres [m].
func (s *SliderCrank) Travel() float64 { return s.travel }

// Bore implements Chamber.
func (s *SliderCrank) Bore() float64 { return s.bore }

// MeanSpeed implements Chamber: two travels a turn.
func (s *SliderCrank) MeanSpeed(omega float64) float64 { return s.travel * omega / math.Pi }
