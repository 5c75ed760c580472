package solve

import "math"

// Temperatures [K] between which the burned zone is looked up: a zone of next to no mass
// may be anywhere by noise of the pressure.
const leastHot, mostHot = 900, 3600

// Of a burned zone with less than this share of the charge no temperature is told: it is
// looked up at hotGuess [K].
const (
	leastBurned = 1e-3
	hotGuess    = 2400
)

// ReleaseZones is Release for an unburned and a burned zone, as Solver burns: from the
// start of Burn on, the unburned charge is compressed without heat or entropy, and of
//
//	(1−y)·v_u + y·v_b(T_b) = V/m,  m·ΔU + p̄·ΔV + ΔQw = 0
//
// y and T_b are found. Both are nearly linear in y and y·T_b, which are well found
// where there is next to nothing burned. Before Burn nothing burns: the temperature is
// that which fills the volume. The heat that walls take is that of the mean temperature.
func (c *Closed) ReleaseZones(theta, p, burned, heat []float64) error {
	m := c.Mass
	c.Begin(theta[0], p[0], 300)
	vol, _ := c.Chamber.Volume(theta[0])
	cold, err := c.warm(theta[0], p[0], vol)
	if err != nil {
		return err
	}
	c.in.refer(theta[0], p[0], cold)
	flux := func(theta, vol, p, t float64) float64 {
		hA, wallTemp := c.in.walls(theta, vol, p, t, m)
		return hA * (t - wallTemp)
	}
	c.in.cond.Firing = false
	before := flux(theta[0], vol, p[0], cold)
	burned[0], heat[0] = 0, 0
	start := c.Burn.Start()
	var u, h state
	energy, y, z := math.NaN(), 0., 0. // z is y times the temperature of the burned zone [K]
	for i := 1; i < len(theta); i++ {
		vol2, _ := c.Chamber.Volume(theta[i])
		step := theta[i] - theta[i-1]
		if theta[i] < start {
			if cold, err = c.warm(theta[i], p[i], vol2); err != nil {
				return err
			}
			now := flux(theta[i], vol2, p[i], cold)
			burned[i], heat[i] = 0, heat[i-1]+(before+now)/2*step
			vol, before = vol2, now
			continue
		}
		c.in.cond.Firing = true
		if math.IsNaN(energy) {
			c.in.at(cold, p[i-1], c.Residual, &u)
			energy = u.u(p[i-1])
		}
		cold = c.squeeze(cold, p[i-1], p[i])
		c.in.at(cold, p[i], c.Residual, &u)
		work := (p[i-1] + p[i]) / 2 * (vol2 - vol)
		now, done := before, false
		for range 40 {
			at := float64(hotGuess)
			if math.Abs(y) > leastBurned {
				at = math.Max(leastHot, math.Min(mostHot, z/y))
			}
			c.in.pure(at, p[i], &h)
			uT := h.hT - p[i]*h.vT
			offV := (1-y)*u.v + y*h.v + h.vT*(z-y*at) - vol2/m
			offU := (1-y)*u.u(p[i]) + y*h.u(p[i]) + uT*(z-y*at) - energy + (work+(before+now)/2*step)/m
			vY, uY := h.v-u.v-at*h.vT, h.u(p[i])-u.u(p[i])-at*uT
			det := vY*uT - h.vT*uY
			dY, dZ := (offV*uT-h.vT*offU)/det, (vY*offU-offV*uY)/det
			y, z = y-dY, z-dZ
			if !(math.Abs(y) < 10) {
				break
			}
			now = flux(theta[i], vol2, p[i], math.Max(200, (1-y)*cold+z))
			if done = math.Abs(dY) < 1e-11 && math.Abs(dZ) < 1e-6; done {
				break
			}
		}
		if !done {
			return noState(theta[i], p[i])
		}
		energy -= (work + (before+now)/2*step) / m
		burned[i], heat[i] = y, heat[i-1]+(before+now)/2*step
		vol, before = vol2, now
	}
	return nil
}

// squeeze is the temperature of the unburned charge after the pressure went from p to to
// without heat or entropy, dT/dp = (v − ∂h/∂p)/c_p, by Heun's rule.
func (c *Closed) squeeze(t, p, to float64) float64 {
	rate := func(t, p float64) float64 {
		c.in.at(t, p, c.Residual, &c.s)
		return (c.s.v - c.s.hP) / c.s.hT
	}
	a := rate(t, p)
	return t + (to-p)*(a+rate(t+(to-p)*a, to))/2
}
