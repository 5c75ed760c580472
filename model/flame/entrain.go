package flame

import (
	"errors"
	"fmt"
	"math"
)

// ErrEntrainment is wrapped by errors of Entrainment.Check.
var ErrEntrainment = errors.New("impossible entrainment")

// Entrainment is burning in two steps: a front entrains unburned charge at the
// turbulent speed, and what is entrained burns up in eddies,
//
//	dme/dt = ρu Af (u + SL)
//	dmb/dt = ρu Af SL + (me − mb)/τ,   τ = C λ/SL
//
// with the Taylor microscale λ = √15 L (u' L/ν)^-½. Source: Blizard and Keck,
// SAE 740191, 1974; Tabaczynski, Ferguson and Radhakrishnan, SAE 770647, 1977
// (from memory).
//
// Turbulence follows the charge by rapid distortion,
//
//	u' = Intensity·Sp·(ρu/ρi)^⅓,   L = Scale·h,
//
// after the same paper, with the height h at each instant for the length scale
// (from memory; L = h is common practice). A kernel smaller than the eddies is
// carried about by them and not wrinkled, so it grows with
//
//	u = Speedup·u'·(1 − exp(−r/(Transition·L))),
//
// laminar at first. Such factors are in use since Herweg and Maly, SAE 922243,
// 1992 (from memory; theirs are square roots in radius and time, this one is
// our own choice). With no u' what is left is a laminar flame.
//
// Where me = mb = 0 nothing grows: start both at KernelShare of the charge.
//
// To match two given burn angles, Speedup shortens all of the burn, and
// Transition lengthens the time to 10 % burned at the cost of little else.
type Entrainment struct {
	Intensity  float64 // u' over the mean piston speed at the spark [-], >= 0; 0.5
	Scale      float64 // L over the height of the chamber [-], > 0; 1
	Speedup    float64 // multiplies u' in the speed of the front [-], >= 0; 1
	Transition float64 // radius where the front is turbulent, over L [-], >= 0; 1
	Burnup     float64 // C, multiplies τ [-], >= 0; 1
}

// Usual returns an Entrainment with the values named at its fields.
func Usual() Entrainment {
	return Entrainment{Intensity: 0.5, Scale: 1, Speedup: 1, Transition: 1, Burnup: 1}
}

// KernelShare is the share of the charge of a front (that of its part of the
// chamber) that counts as entrained and burned at the spark [-]. Our own
// choice: a hemisphere of a few millimetres once it has expanded. Half of it sets
// a burn back by about 3 degrees at 2000 rpm.
const KernelShare = 1e-3

// Check returns an error that wraps ErrEntrainment if a field is out of range.
func (e *Entrainment) Check() error {
	for _, f := range []struct {
		name  string
		value float64
		zero  bool // allowed
	}{
		{"Intensity", e.Intensity, true},
		{"Scale", e.Scale, false},
		{"Speedup", e.Speedup, true},
		{"Transition", e.Transition, true},
		{"Burnup", e.Burnup, true},
	} {
		want := "> 0"
		if f.zero {
			want = ">= 0"
		}
		if !(f.value >= 0) || math.IsInf(f.value, 0) || f.value == 0 && !f.zero {
			return fmt.Errorf("flame: Entrainment.%s = %g, want finite and %s: %w", f.name, f.value, want, ErrEntrainment)
		}
	}
	return nil
}

// Conditions is what Entrainment looks at, for one front. Front and Radius are
// those of Front.At for all that the front encloses, burned gas and what is
// entrained and yet unburned: if m is the mass of the charge in the part of the
// chamber that belongs to the front, of volume V, that is V − (m − me)/ρu. So
// the front vanishes as me comes to m.
type Conditions struct {
	Unburned  float64 // ρu, density of the unburned gas [kg/m³], > 0
	Spark     float64 // ρi, the same at the spark [kg/m³], > 0
	Laminar   float64 // SL [m/s], >= 0
	Piston    float64 // Sp, mean piston speed [m/s], >= 0
	Height    float64 // h, of the chamber [m], > 0
	Viscosity float64 // ν, kinematic, of the unburned gas [m²/s], > 0
	Front     float64 // Af, free area of the front [m²], >= 0
	Radius    float64 // r, of the front [m], >= 0
	Entrained float64 // me, mass the front has passed [kg]
	Burned    float64 // mb, mass burned [kg]
}

// Turbulence returns u' [m/s] and L [m].
func (e *Entrainment) Turbulence(c *Conditions) (intensity, scale float64) {
	return e.Intensity * c.Piston * math.Cbrt(c.Unburned/c.Spark), e.Scale * c.Height
}

// Rates returns dme/dt and dmb/dt [kg/s]. For a Burnup of 0 the second is that
// of the first, as everything entrained burns at once. If mb <= me at first it
// stays so. Rates never allocates.
func (e *Entrainment) Rates(c *Conditions) (entrain, burn float64) {
	u, scale := e.Turbulence(c)
	grown := 1.
	if e.Transition > 0 {
		grown = -math.Expm1(-c.Radius / (e.Transition * scale))
	}
	flux := c.Unburned * c.Front
	entrain = flux * (e.Speedup*u*grown + c.Laminar)
	if e.Burnup == 0 {
		return entrain, entrain
	}
	// 1/λ, which is 0 without turbulence.
	perLength := math.Sqrt(u*scale/c.Viscosity/15) / scale
	return entrain, flux*c.Laminar + (c.Entrained-c.Burned)*c.Laminar*perLength/e.Burnup
}

const (
	// MinLaminar is the laminar flame speed [m/s] below which nothing lights
	// (our own choice: a sixth of a stoichiometric charge at the spark; the
	// lean limit of gasoline comes out near a relative air-fuel ratio of 1.8).
	MinLaminar = 0.12

	// MaxStretch is the stretch K = 0.157 (u'/SL)²·(u'L/ν)^-½ above which
	// turbulence quenches a flame. Form and number after Abdel-Gayed,
	// Bradley and others, 1985 to 1987, for a Lewis number of 1 (from memory:
	// between 1 and 2).
	MaxStretch = 1.5
)

// Why a spark lights nothing.
const (
	TooLean = "too lean or dilute"
	TooWeak = "too weak for the turbulence"
)

// Lights tells whether a spark lights a charge of laminar flame speed sl [m/s]
// in turbulence of intensity u [m/s], length scale [m] and kinematic viscosity
// nu [m²/s], and if not, why: TooLean or TooWeak. It does not with NaN.
func Lights(sl, u, scale, nu float64) (lit bool, why string) {
	if !(sl >= MinLaminar) {
		return false, TooLean
	}
	ratio := u / sl
	if u != 0 && !(0.157*ratio*ratio/math.Sqrt(u*scale/nu) <= MaxStretch) {
		return false, TooWeak
	}
	return true, ""
}
