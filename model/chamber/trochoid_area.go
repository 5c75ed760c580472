package chamber

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
)

// Walls implements Chamber. Head is the two side plates over the chamber, exact;
// Piston the flank of the rotor with its recess, which counts as half a ball
// (our own choice), constant; Liner the housing between the two apexes.
func (t *Trochoid) Walls(theta float64) Walls {
	v, _ := t.Volume(theta)
	return Walls{Head: 2 * (v - t.recess) / t.b, Piston: t.rotor, Liner: t.b * t.housing.at(math.Cos(2*theta/3))}
}

// SurfaceToVolume returns the wall area of c over its volume at theta [1/m].
func SurfaceToVolume(c Chamber, theta float64) float64 {
	v, _ := c.Volume(theta)
	w := c.Walls(theta)
	return (w.Head + w.Piston + w.Liner) / v
}

// surfaces finds the lengths of flank and housing.
func (t *Trochoid) surfaces() {
	t.flank = quad.Fixed(t.flankSpeed, 0, 2*math.Pi/3, 64, quad.Legendre{}, 0)
	ball := math.Cbrt(3 / (2 * math.Pi) * t.recess) // radius
	t.rotor = t.flank*t.b + math.Pi*ball*ball       // half a ball has π r² more than the disc it takes away

	// |dz/dα| = √(R² + 9e² + 6 e R cos 2α) is Σ a_n cos 2nα, whose a_n fall as
	// (3e/R)^n; the mean over equal parts of the period gives them to rounding.
	// Between apexes π/3 from the middle π/2 + θ/3 the integral is
	// (2π/3) a_0 + Σ a_n/n sin(2πn/3) (−1)^n cos(2nθ/3).
	const parts = 256
	var a [maxTerms]float64
	for j := range parts {
		alpha := math.Pi * float64(j) / parts
		speed := math.Sqrt(t.r*t.r + 9*t.e*t.e + 6*t.e*t.r*math.Cos(2*alpha))
		for n := range a {
			a[n] += speed * math.Cos(2*math.Pi*float64(j*n%parts)/parts)
		}
	}
	mean := a[0] / parts
	t.apex = 2 * math.Pi * mean
	t.housing = series{2 * math.Pi / 3 * mean}
	last := 0
	for n := 1; n < maxTerms; n++ {
		_, third := math.Modf(float64(n) / 3)
		c := 2 * a[n] / parts / float64(n) * math.Sin(2*math.Pi*third)
		if n%2 == 1 {
			c = -c
		}
		if t.housing = append(t.housing, c); math.Abs(c) > negligible*mean {
			last = n
		}
	}
	t.housing = t.housing[:last+1]
}

const (
	maxTerms   = 96    // enough for R = 4e
	negligible = 1e-13 // of a term of the series, over its mean
)

// flankSpeed is |dw/dv| of Flank [m/rad].
func (t *Trochoid) flankSpeed(v float64) float64 {
	sin, cos := math.Sincos(1.5 * v)
	rho := 2 * t.e * sin
	k := 3 * t.e * cos
	root := math.Sqrt(t.r*t.r - k*k)
	return root - rho + 2.25*rho*rho/root
}

// series is Σ c_n cos(n x): even in x and of period 2π.
type series []float64

// at returns the sum at cos x, by Clenshaw's recurrence.
func (s series) at(cos float64) float64 {
	var b1, b2 float64
	for n := len(s) - 1; n > 0; n-- {
		b1, b2 = s[n]+2*cos*b1-b2, b1
	}
	return s[0] + cos*b1 - b2
}
