package reader

import (
	"math"

	"phasebench/model"
)

// The grid on which the tracker thinks [rad]. Our own choice: finer shows nothing
// more of humps that are 10 deg wide and more.
const (
	gridFrom = -70 * deg
	gridPace = 1 * deg
	gridSize = 181
)

func gridAt(k int) float64 { return gridFrom + float64(k)*gridPace }

// charge is the pressure of a burning charge by the first law with one exponent
// γ for compression and expansion,
//
//	p·V^γ = C·(1 + q·Σ (V/V₁)^(γ−1)·Δx),
//
// where x(θ) = 1 − exp(−((θ−θ₀)/Δθ)³) has burned: Wiebe's function with m = 2. Its
// level is left open: C = 1.
type charge struct {
	heat, work [gridSize]float64 // q·(V/V₁)^(γ−1) between points; V^−γ, 1 at dead centre
	p          [gridSize]float64
	late, slow [gridSize]float64 // how ln p answers to ca10 [1/rad], and to ln of early [-]
}

// The exponent holds the heat given to the walls. heatRise is q = (γ−1)·Q/(p₁·V₁), V₁
// the volume at intake closing: for gasoline at lambda 1, less dissociation and walls. Our own choice, fitted to the model on
// the cycles for training, see TestCharge.
const (
	burnExponent = 1.28
	heatRise     = 5.5
)

// Where 10 %, 50 % and 90 % are burned, in Δθ from θ₀.
var (
	tenth  = math.Cbrt(-math.Log1p(-0.1))
	half   = math.Cbrt(-math.Log1p(-0.5))
	ninety = math.Cbrt(-math.Log1p(-0.9))
)

func newCharge(e *model.Engine) (*charge, error) {
	ch, err := e.Chamber()
	if err != nil {
		return nil, err
	}
	shut, _ := e.Sealed()
	first, _ := ch.Volume(shut)
	least, _ := ch.Volume(0)
	c := &charge{}
	for k := range gridSize {
		v, _ := ch.Volume(gridAt(k))
		c.work[k] = math.Pow(v/least, -burnExponent)
		v, _ = ch.Volume(gridAt(k) - gridPace/2)
		c.heat[k] = heatRise * math.Pow(v/first, burnExponent-1)
	}
	return c, nil
}

// burn makes the pressure of a charge of which 10 % have burned at ca10 and 50 %
// early later [rad]. It returns the place of its last top, which is combustion's
// where the motored one is higher, and where that is [rad]. It also makes late and slow,
// but for the small step at the end of the burn.
func (c *charge) burn(ca10, early float64) (k int, lpp float64) {
	span := early / (half - tenth)
	start := ca10 - tenth*span
	var before, late, slow, beforeLate, beforeSlow float64
	sum := 1.
	for i := range gridSize {
		var x, xLate, xSlow float64
		if tau := (gridAt(i) - start) / span; tau > 2 {
			x = 1
		} else if tau > 0 {
			left := math.Exp(-tau * tau * tau)
			rate := 3 * tau * tau * left // dx/dτ
			x, xLate, xSlow = 1-left, -rate/span, -rate*(tau-tenth)
		}
		sum += c.heat[i] * (x - before)
		late += c.heat[i] * (xLate - beforeLate)
		slow += c.heat[i] * (xSlow - beforeSlow)
		before, beforeLate, beforeSlow = x, xLate, xSlow
		c.p[i], c.late[i], c.slow[i] = sum*c.work[i], late/sum, slow/sum
		if i > 1 && c.p[i-1] > c.p[i] && c.p[i-1] >= c.p[i-2] {
			k = i - 1
		}
	}
	if k == 0 {
		return k, gridAt(k)
	}
	l, m, r := c.p[k-1], c.p[k], c.p[k+1]
	return k, gridAt(k) + gridPace/2*(l-r)/(l-2*m+r)
}

// sway returns how the top at k of the last burn answers to ca10 [-] and to ln of
// early [rad].
func (c *charge) sway(k int) (late, slow float64) {
	if k == 0 {
		return 0, 0
	}
	l, m, r := c.p[k-1], c.p[k], c.p[k+1]
	bend := l - 2*m + r
	answer := func(by *[gridSize]float64) float64 {
		dl, dm, dr := l*by[k-1], m*by[k], r*by[k+1]
		return gridPace / 2 * ((dl-dr)*bend - (l-r)*(dl-2*dm+dr)) / (bend * bend)
	}
	return answer(&c.late), answer(&c.slow)
}
