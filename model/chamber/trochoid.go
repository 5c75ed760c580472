package chamber

import (
	"fmt"
	"math"
)

// Rotor describes a rotary engine's housing and its three-sided rotor.
type Rotor struct {
	Eccentricity float64 // of the shaft, e [m], > 0
	Radius       float64 // generating radius R: from the middle of the rotor to an apex [m], at least 4 e
	Width        float64 // of housing and rotor along the shaft, b [m], > 0
	Ratio        float64 // compression ratio [-], > 1, at most MostRatio
}

// LeastRadius is the least generating radius over eccentricity. Above 3 a flank
// has an envelope; engines have 6 to 8 (common practice, no source). At 4 the
// seals lean by up to 49 degrees (our own choice).
const LeastRadius = 4

// Trochoid is one of the three chambers of a rotary engine, four strokes in
// three turns of the shaft, each of 270 degrees. The other two flanks do the
// same a turn earlier and later. The housing is the epitrochoid
//
//	x = e cos 3α + R cos α,  y = e sin 3α + R sin α
//
// along which the apexes run, a third of a round apart, while the shaft stands
// at 3α. Between an apex at α and the next, Green's theorem gives the area
//
//	(π/3)(3e²+R²) − (√3/4)R² + (3√3/2) e R cos(2α + 2π/3)
//
// of housing above the chord. The flank turns with the chord: it takes away a
// constant. With θ = 3(α + π/3 − π/2), 0 in the waist of the housing,
//
//	V = Vmin + (3√3/2) e R b (1 − cos(2θ/3))
//
// exactly, whatever the flank. K. Yamamoto, Rotary Engine, has the same, and
// with it the swept volume 3√3 e R b (from a quotation).
//
// A flank is the inner envelope of all places of the housing seen from the
// rotor: it clears the housing everywhere and by nothing. Seals that roll on a
// parallel curve of the housing are left out. What Vmin is more than the volume
// between flank and waist is a recess in the rotor.
type Trochoid struct {
	e, r, b   float64 // [m]
	half      float64 // half the swept volume [m³]
	clearance float64 // [m³]
	recess    float64 // [m³]
	rotor     float64 // flank with recess [m²]
	flank     float64 // its length [m]
	housing   series  // length between two apexes, against 2θ/3 [m]
	apex      float64 // way of an apex over a turn of the rotor [m]
}

// NewTrochoid returns a chamber of r, or an error that wraps ErrGeometry.
func NewTrochoid(r Rotor) (*Trochoid, error) {
	bad := func(what string, given float64, want string) (*Trochoid, error) {
		return nil, fmt.Errorf("chamber: %s = %g, want %s: %w", what, given, want, ErrGeometry)
	}
	switch {
	case !(r.Eccentricity > 0) || math.IsInf(r.Eccentricity, 0):
		return bad("Rotor.Eccentricity", r.Eccentricity, "> 0 m")
	case !(r.Radius >= LeastRadius*r.Eccentricity) || math.IsInf(r.Radius, 0):
		return bad("Rotor.Radius", r.Radius, fmt.Sprintf(">= %d Eccentricity = %g m", LeastRadius, LeastRadius*r.Eccentricity))
	case !(r.Width > 0) || math.IsInf(r.Width, 0):
		return bad("Rotor.Width", r.Width, "> 0 m")
	case !(r.Ratio > 1 && r.Ratio <= r.MostRatio()):
		return bad("Rotor.Ratio", r.Ratio, fmt.Sprintf("> 1 and at most that without a recess, %.4g", r.MostRatio()))
	}
	t := &Trochoid{e: r.Eccentricity, r: r.Radius, b: r.Width, half: r.swept() / 2}
	t.clearance = Clearance(t.Swept(), r.Ratio)
	t.recess = math.Max(0, t.clearance-r.waist())
	t.surfaces()
	return t, nil
}

func (r *Rotor) swept() float64 { return 3 * math.Sqrt(3) * r.Eccentricity * r.Radius * r.Width }

// waist is the least volume between a smooth flank and the housing [m³],
//
//	b·(2 e R cos φ + (2R²/9 + 4e²) φ + π e²/3 − (3√3/2) e R),  φ = asin(3e/R),
//
// the integral of the envelope in Flank; as Yamamoto, Rotary Engine, has it
// (from memory).
func (r *Rotor) waist() float64 {
	e, R := r.Eccentricity, r.Radius
	phi := math.Asin(3 * e / R)
	return r.Width * (2*e*R*math.Cos(phi) + (2./9*R*R+4*e*e)*phi + math.Pi/3*e*e - 1.5*math.Sqrt(3)*e*R)
}

// MostRatio is the compression ratio [-] of r without a recess in the rotor.
// Its Ratio does not matter.
func (r *Rotor) MostRatio() float64 { return Ratio(r.swept(), r.waist()) }

// Volume implements Chamber.
func (t *Trochoid) Volume(theta float64) (v, dv float64) {
	sin, cos := math.Sincos(theta / 3)
	return t.clearance + 2*t.half*sin*sin, 4. / 3 * t.half * sin * cos // 1 − cos 2x = 2 sin² x
}

// Strokes implements Chamber.
func (t *Trochoid) Strokes() Strokes {
	return Strokes{Start: -3 * math.Pi, Compression: -1.5 * math.Pi, Exhaust: 1.5 * math.Pi, End: 3 * math.Pi}
}

// Swept implements Chamber.
func (t *Trochoid) Swept() float64 { return 2 * t.half }

// Clearance is the volume at dead centre, recess included [m³].
func (t *Trochoid) Clearance() float64 { return t.clearance }

// Recess is the volume of the recess in a flank [m³], >= 0.
func (t *Trochoid) Recess() float64 { return t.recess }

// Bore implements Chamber: the diameter of a disc as large as the chord of a
// flank times the width, √3 R b, so that volume over area is the mean depth of
// the chamber (our own choice).
func (t *Trochoid) Bore() float64 { return math.Sqrt(4 / math.Pi * math.Sqrt(3) * t.r * t.b) }

// Travel is the stroke of a piston of that bore with the same swept volume,
// 3e [m].
func (t *Trochoid) Travel() float64 { return 3 * t.e }

// MeanSpeed implements Chamber: the mean speed at which an apex slides along
// the housing, once round in three turns of the shaft. It is some four times
// that of a piston of stroke Travel in as many degrees; the rotor drags the gas
// along with it, so that it is the scale of the gas too (our own choice).
func (t *Trochoid) MeanSpeed(omega float64) float64 { return t.apex * omega / (6 * math.Pi) }
