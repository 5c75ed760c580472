// Package wiebe gives the burned mass fraction of a charge against angle,
//
//	x(θ) = 1 − exp(−a·τ^(m+1)),  τ = (θ−θ₀)/Δθ,
//
// with x = 0 for θ ≤ θ₀; beyond Δθ it goes on towards 1. Angles are radians
// after firing dead centre. Source: I. Wiebe, 1962, in the form of Heywood,
// Internal Combustion Engine Fundamentals, 1988, eq. 9.33.
package wiebe

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// ErrShape is wrapped by every error about parameters without a burn.
var ErrShape = errors.New("impossible burn")

// Stage is one Wiebe function. Its zero value is invalid.
type Stage struct {
	Start float64 // θ₀ [rad]
	Span  float64 // Δθ [rad], > 0
	A     float64 // a [-], > 0; x(θ₀+Δθ) = 1 − e^−a
	M     float64 // m [-], > -1
}

// Whole is the a that makes x = 0.999 at the end of the span, −ln(1−0.999).
const Whole = 6.907755278982137

// FromAngles returns the stage that starts at start [rad], reaches 10 % after
// development [rad] and 90 % after rapid [rad] more. Both must be > 0. The
// form exponent follows from the ratio of the two angles:
//
//	m + 1 = ln(ln(1−0.1)/ln(1−0.9)) / ln(development/(development+rapid))
func FromAngles(start, development, rapid float64) (Stage, error) {
	if !(development > 0) || math.IsInf(development, 0) {
		return Stage{}, fmt.Errorf("wiebe: development = %g rad, want > 0: %w", development, ErrShape)
	}
	if !(rapid > 0) || math.IsInf(rapid, 0) {
		return Stage{}, fmt.Errorf("wiebe: rapid = %g rad, want > 0: %w", rapid, ErrShape)
	}
	n := math.Log(math.Log1p(-0.1)/math.Log1p(-0.9)) / math.Log(development/(development+rapid))
	span := development * math.Pow(-Whole/math.Log1p(-0.1), 1/n)
	s := Stage{Start: start, Span: span, A: Whole, M: n - 1}
	return s, s.Check()
}

// Check returns an error that wraps ErrShape if s is not a burn.
func (s Stage) Check() error {
	bad := func(field string, v float64, want string) error {
		return fmt.Errorf("wiebe: Stage.%s = %g, want %s: %w", field, v, want, ErrShape)
	}
	switch {
	case math.IsNaN(s.Start) || math.IsInf(s.Start, 0):
		return bad("Start", s.Start, "a number [rad]")
	case !(s.Span > 0) || math.IsInf(s.Span, 0):
		return bad("Span", s.Span, "> 0 rad")
	case !(s.A > 0) || math.IsInf(s.A, 0):
		return bad("A", s.A, "> 0")
	case !(s.M > -1) || math.IsInf(s.M, 0):
		return bad("M", s.M, "> -1")
	}
	return nil
}

// Fraction returns x at theta [rad], 0 to 1.
func (s Stage) Fraction(theta float64) float64 {
	x, _ := s.At(theta)
	return x
}

// At returns x and dx/dθ [1/rad] at theta [rad]. At θ₀ with m < 0, where the
// rate has a pole, it returns 0 for both.
func (s Stage) At(theta float64) (x, rate float64) {
	tau := (theta - s.Start) / s.Span
	if !(tau > 0) {
		return 0, 0
	}
	pow := math.Pow(tau, s.M)
	left := s.A * tau * pow
	return -math.Expm1(-left), (s.M + 1) * s.A / s.Span * pow * math.Exp(-left)
}

// Angle returns the angle [rad] at which x reaches fraction, 0 <= fraction < 1;
// NaN outside that range.
func (s Stage) Angle(fraction float64) float64 {
	if !(fraction >= 0 && fraction < 1) {
		return math.NaN()
	}
	return s.Start + s.Span*math.Pow(-math.Log1p(-fraction)/s.A, 1/(s.M+1))
}

// Part is a stage with its share of the charge.
type Part struct {
	Share float64 // [-], > 0
	Stage Stage
}

// Burn is a sum of stages whose shares add up to 1: one for a single Wiebe
// function, two for a double one. The empty Burn never burns.
type Burn []Part

// Single is the burn of one stage.
func Single(s Stage) Burn { return Burn{{1, s}} }

// Double is the burn of two stages, share [-] of the charge by the first.
func Double(first, second Stage, share float64) Burn {
	return Burn{{share, first}, {1 - share, second}}
}

// Check returns an error that wraps ErrShape if b is not a burn.
func (b Burn) Check() error {
	total := 0.
	for i, p := range b {
		if !(p.Share > 0 && p.Share <= 1) {
			return fmt.Errorf("wiebe: share of stage %d = %g, want > 0 and at most 1: %w", i+1, p.Share, ErrShape)
		}
		if err := p.Stage.Check(); err != nil {
			return fmt.Errorf("wiebe: stage %d: %w", i+1, err)
		}
		total += p.Share
	}
	if len(b) > 0 && !(math.Abs(total-1) < 1e-9) {
		return fmt.Errorf("wiebe: shares add up to %g, want 1: %w", total, ErrShape)
	}
	return nil
}

// At returns the burned fraction x and dx/dθ [1/rad] at theta [rad].
func (b Burn) At(theta float64) (x, rate float64) {
	for i := range b {
		sx, sr := b[i].Stage.At(theta)
		x += b[i].Share * sx
		rate += b[i].Share * sr
	}
	return x, rate
}

// Start is where the first stage starts [rad]; NaN for the empty burn.
func (b Burn) Start() float64 {
	if len(b) == 0 {
		return math.NaN()
	}
	start := math.Inf(1)
	for i := range b {
		start = math.Min(start, b[i].Stage.Start)
	}
	return start
}

// Breaks appends to dst, in ascending order, the angles at which an integrator
// must not step across: the start of every stage, and its middle, lest a short
// one be overlooked.
func (b Burn) Breaks(dst []float64) []float64 {
	from := len(dst)
	for i := range b {
		dst = append(dst, b[i].Stage.Start, b[i].Stage.Angle(0.5))
	}
	slices.Sort(dst[from:])
	return dst
}

// Angle returns the angle [rad] at which the burned fraction reaches fraction,
// 0 <= fraction < 1; NaN outside that range or for the empty burn. CA50 is
// Angle(0.5).
func (b Burn) Angle(fraction float64) float64 {
	switch len(b) {
	case 0:
		return math.NaN()
	case 1:
		return b[0].Stage.Angle(fraction)
	}
	if !(fraction >= 0 && fraction < 1) {
		return math.NaN()
	}
	// The sum passes fraction between the first and the last of its stages.
	low, high := math.Inf(1), math.Inf(-1)
	for i := range b {
		a := b[i].Stage.Angle(fraction)
		low, high = math.Min(low, a), math.Max(high, a)
	}
	for i := 0; i < 200 && high-low > 1e-13; i++ {
		mid := (low + high) / 2
		if x, _ := b.At(mid); x < fraction {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
