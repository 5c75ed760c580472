package indicate

import (
	"fmt"
	"math"
	"strings"

	"phasebench/model"
)

// Peg is how the zero of a pressure is found: most transducers know no zero.
type Peg string

// Pegs.
const (
	AtInlet Peg = "inlet"     // the mean about bottom dead centre before compression is manifold pressure
	Fixed   Peg = "polytrope" // the compression is p·V^n = constant with a given n, by least squares
	Free    Peg = "free"      // the same with n found too
	None    Peg = "none"      // the pressure is absolute
)

// Pegs lists them; the first is usual.
func Pegs() []Peg { return []Peg{AtInlet, Fixed, Free, None} }

// ParsePeg returns the peg of that name. Errors are a *model.Problem.
func ParsePeg(name string) (Peg, error) {
	var all []string
	for _, p := range Pegs() {
		if string(p) == name {
			return p, nil
		}
		all = append(all, string(p))
	}
	return "", &model.Problem{Key: "peg", Given: fmt.Sprintf("%q", name), Want: "one of " + strings.Join(all, ", ")}
}

// Between InletFrom and InletTo, about dead centre before compression, the chamber is taken
// to have manifold pressure [rad of a piston engine; longer strokes stretch it]. Our own
// choice.
const InletFrom, InletTo = -185 * deg, -175 * deg

// Where pegs look at the compression: between where the intake valve has surely shut and
// where a spark may burn. Our own choice.
const compFrom, compTo = -110 * deg, -45 * deg

// polytrope fits p = k·V^−n + c to samples: what it found, and standard errors from the
// scatter about it.
type polytrope struct{ k, n, c, cError, nError float64 }

// fitPolytrope fits by least squares, with n fixed or free; v is over its own unit so
// that numbers are near 1. NaN where the samples do not tell.
func fitPolytrope(p, v []float64, n float64, free bool) polytrope {
	unit := v[len(v)-1]
	if free {
		n = bestExponent(p, v, unit)
	}
	f, rest := linear(p, v, unit, n)
	f.n = n
	freedom := float64(len(p) - 2)
	if free {
		freedom--
	}
	variance := rest / freedom
	// Normal matrix of (k, c) or of (k, c, n).
	var a [3][3]float64
	for i := range p {
		x := math.Pow(v[i]/unit, -n)
		row := [3]float64{x, 1, -f.k * x * math.Log(v[i]/unit)}
		for r := range row {
			for s := range row {
				a[r][s] += row[r] * row[s]
			}
		}
	}
	if !free {
		f.cError = math.Sqrt(variance * a[0][0] / (a[0][0]*a[1][1] - a[0][1]*a[0][1]))
		return f
	}
	det := a[0][0]*(a[1][1]*a[2][2]-a[1][2]*a[2][1]) - a[0][1]*(a[1][0]*a[2][2]-a[1][2]*a[2][0]) + a[0][2]*(a[1][0]*a[2][1]-a[1][1]*a[2][0])
	f.cError = math.Sqrt(variance * (a[0][0]*a[2][2] - a[0][2]*a[2][0]) / det)
	f.nError = math.Sqrt(variance * (a[0][0]*a[1][1] - a[0][1]*a[1][0]) / det)
	return f
}

// linear fits k and c for one n, and returns the sum of squares left.
func linear(p, v []float64, unit, n float64) (polytrope, float64) {
	var sx, sxx, sp, sxp float64
	count := float64(len(p))
	for i := range p {
		x := math.Pow(v[i]/unit, -n)
		sx, sxx, sp, sxp = sx+x, sxx+x*x, sp+p[i], sxp+x*p[i]
	}
	k := (count*sxp - sx*sp) / (count*sxx - sx*sx)
	c := (sp - k*sx) / count
	rest := 0.
	for i := range p {
		e := p[i] - k*math.Pow(v[i]/unit, -n) - c
		rest += e * e
	}
	return polytrope{k: k, c: c}, rest
}

// bestExponent looks for the exponent of least squares from 1 to 1.7 by golden section.
func bestExponent(p, v []float64, unit float64) float64 {
	low, high := 1., 1.7
	const golden = 0.6180339887498949
	a, b := high-golden*(high-low), low+golden*(high-low)
	_, fa := linear(p, v, unit, a)
	_, fb := linear(p, v, unit, b)
	for range 40 {
		if fa < fb {
			high, b, fb = b, a, fa
			a = high - golden*(high-low)
			_, fa = linear(p, v, unit, a)
		} else {
			low, a, fa = a, b, fb
			b = low + golden*(high-low)
			_, fb = linear(p, v, unit, b)
		}
	}
	return (low + high) / 2
}
