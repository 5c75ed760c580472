package solve

import (
	"math"

	"phasebench/model/flame"
	"phasebench/model/knock"
	"phasebench/model/wall"
	"phasebench/solve/ode"
	"phasebench/wiebe"
)

const mostPlugs = 2

// The components of the state of twoZone.
const (
	twoP         = iota                     // pressure [Pa]
	twoTu                                   // temperature of the unburned zone [K]
	twoTb                                   // of the burned zone [K]
	twoMu                                   // mass of the unburned zone [kg]
	twoMb                                   // of the burned zone [kg]
	twoWork                                 // ∫p dV [J]
	twoHeat                                 // given to the walls [J]
	twoRing                                 // net enthalpy into the crevice [J]
	twoLeak                                 // mass past the rings [kg]
	twoRingB                                // burned mass in the crevice [kg]
	twoKnock                                // autoignition integral [-]
	twoEntrained                            // mass each front has passed [kg]
	twoFront     = twoEntrained + mostPlugs // mass each front has burned [kg]
	nTwo         = twoFront + mostPlugs
)

// lastBurned is the burned fraction beyond which end gas no longer counts for
// knock.
const lastBurned = 0.98

// burnedOut is the nominal burned fraction at which burning ends, lest the
// unburned zone vanish.
const burnedOut = 1 - 1e-7

// twoZone is the first law for the sealed chamber as an unburned and a burned
// zone at one pressure:
//
//	mu·dhu = Vu·dp − dQu,  mb·dhb = Vb·dp − dQb + (hu − hb)·dmx
//
// and V = mu·vu + mb·vb, with dmx what burns. The unburned zone keeps its
// residual; the burned gas is at equilibrium, freezing. The wall area of the
// burned zone is the square root of its mass fraction times the whole (after
// Ferguson, Internal Combustion Engines, 1986, from memory). Gas enters the
// crevice from both zones by their masses; it returns to the zones it came
// from, so that charge which hid there does not burn.
type twoZone struct {
	place
	total    float64 // mass at the start [kg]
	residual float64 // burned fraction of the unburned zone [-]
	share    float64 // of the charge that ever burns [-]

	burn wiebe.Burn // empty: fronts burn the charge

	fronts  []*flame.Front
	flames  flame.Entrainment
	lit     [mostPlugs]float64 // angle at which each plug fires [rad]
	density float64            // of the unburned gas at the first spark [kg/m³]
	laminar func(t, p float64) float64
	area    float64 // of the bore [m²]

	knock knock.DouaudEyzat

	from         float64 // start of the current segment [rad]
	u, b         state
	backU, backB state
}

var _ ode.Segmenter = (*twoZone)(nil)

// Segment implements ode.Segmenter: sparks and wiebe.Burn.Breaks must be breaks.
func (c *twoZone) Segment(from, _ float64) {
	c.from = from
	c.cond.Exchange, c.cond.Firing = false, true
}

// progress returns the nominal burned fraction x and dx/dθ [1/rad]; it stores
// the rates of the fronts in dst.
func (c *twoZone) progress(dst []float64, theta, vol float64, y []float64) (x, dx float64) {
	if len(c.fronts) == 0 {
		return c.burn.At(theta)
	}
	rho := 1 / c.u.v
	k := flame.Conditions{
		Unburned: rho, Spark: c.density, Laminar: c.laminar(y[twoTu], y[twoP]), Piston: c.cond.Speed,
		Height: vol / c.area, Viscosity: wall.Viscosity(y[twoTu]) / rho,
	}
	for i, f := range c.fronts {
		x += y[twoFront+i] / c.total
		if c.from < c.lit[i] {
			continue
		}
		mass := f.Share * c.total
		k.Entrained, k.Burned = math.Min(y[twoEntrained+i], mass), y[twoFront+i]
		enclosed := math.Max(0, f.Share*vol-(mass-k.Entrained)/rho)
		shape := f.At(enclosed, k.Height)
		k.Front, k.Radius = shape.Area, shape.Radius
		entrain, burn := c.flames.Rates(&k)
		dst[twoEntrained+i], dst[twoFront+i] = entrain/c.speed, burn/c.speed
		dx += burn / c.speed / c.total
	}
	return x, dx
}

// Derive implements ode.System.
func (c *twoZone) Derive(dst []float64, theta float64, y []float64) {
	p, tu, tb, mu, mb := y[twoP], y[twoTu], y[twoTb], y[twoMu], y[twoMb]
	vol, dVol := c.chamber.Volume(theta)
	u, b := &c.u, &c.b
	c.at(tu, p, c.residual, u)
	c.pure(tb, p, b)
	for i := range dst {
		dst[i] = 0
	}
	m := mu + mb
	x, dx := c.progress(dst, theta, vol, y)
	burn := 0.
	if x < burnedOut {
		burn = mu * c.share * dx / (1 - c.share*x)
	}

	mean := (mu*tu + mb*tb) / m
	hA, wallTemp := c.walls(theta, vol, p, mean, m)
	part := math.Sqrt(mb / m)
	heatU, heatB := hA*(1-part)*(tu-wallTemp), hA*part*(tb-wallTemp)

	// T' of each zone is slope·p' + rest.
	slopeU, slopeB := (u.v-u.hP)/u.hT, (b.v-b.hP)/b.hT
	restU := -heatU / (mu * u.hT)
	restB := (burn*(u.h-b.h) - heatB) / (mb * b.hT)

	// Both zones leak by their masses. Into the crevice goes perPressure·p', of
	// which shareU from or to the unburned zone; what returns has the enthalpy of
	// gas at the wall's temperature. V' = Σ (m'·v + m·(vT·T' + vP·p')) is linear
	// in p'.
	perPressure, leak := c.ring(p)
	shareU := mu / m
	meanV, meanH := shareU*u.v+(1-shareU)*b.v, shareU*u.h+(1-shareU)*b.h
	stiff := mu*(u.vT*slopeU+u.vP) + mb*(b.vT*slopeB+b.vP)
	free := dVol - burn*(b.v-u.v) + leak*meanV - mu*u.vT*restU - mb*b.vT*restB
	dst[twoMu], dst[twoMb] = -burn-shareU*leak, burn-(1-shareU)*leak
	dst[twoLeak], dst[twoRing] = leak, leak*meanH

	var moreU, moreB float64 // T' for each kg/rad into the crevice
	into := 0.
	if perPressure > 0 {
		if into = perPressure * free / stiff / (1 - perPressure*meanV/stiff); into >= 0 {
			free += meanV * into
			dst[twoRing] += into * meanH
			dst[twoRingB] = into * (shareU*c.residual + 1 - shareU)
		} else {
			ringB := c.inRing(y[twoRingB], p)
			hidden := math.Min(1, (1-ringB)/(1-c.residual)) // unburned share of what returns
			shareU = hidden * mu / (mu + 1e-3*m)
			c.at(c.linerTemp, p, c.residual, &c.backU)
			c.pure(c.linerTemp, p, &c.backB)
			moreU = -shareU * (c.backU.h - u.h) / (mu * u.hT)
			moreB = -((hidden-shareU)*(c.backU.h-b.h) + (1-hidden)*(c.backB.h-b.h)) / (mb * b.hT)
			lost := shareU*u.v + (1-shareU)*b.v - mu*u.vT*moreU - mb*b.vT*moreB
			into = perPressure * free / stiff / (1 - perPressure*lost/stiff)
			free += lost * into
			dst[twoRing] += into * (hidden*c.backU.h + (1-hidden)*c.backB.h)
			dst[twoRingB] = into * ringB
		}
		dst[twoMu] -= shareU * into
		dst[twoMb] -= (1 - shareU) * into
	}
	dp := free / stiff
	dst[twoP] = dp
	dst[twoTu] = slopeU*dp + restU + moreU*into
	dst[twoTb] = slopeB*dp + restB + moreB*into
	dst[twoWork] = p * dVol
	dst[twoHeat] = heatU + heatB
	if x < lastBurned {
		dst[twoKnock] = c.knock.Rate(p, tu) / c.speed
	}
}
