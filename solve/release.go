package solve

import (
	"fmt"
	"math"
)

// Release is Derive turned round: given the pressure p [Pa] at the angles theta [rad],
// it puts into burned, for each of them, the share of the charge of c that has burned
// since the first, and into heat what has gone to the walls since [J]. Burn is not
// looked at but for its start, from which wall-heat laws take the charge as burning.
//
// From one angle to the next it solves
//
//	m·Δu + p̄·ΔV + ΔQw = 0,  m·v(T,p,b) = V
//
// for T and b by Newton's method, with means of both ends for p̄ and the wall heat: the
// error falls as the square of the step. Nothing keeps burned between 0 and 1, so it
// shows what is wrong with pressure, mass or walls. All slices are as long as theta, two
// or more. The error is about a pressure with which no state goes, and tells the angle.
func (c *Closed) Release(theta, p, burned, heat []float64) error {
	c.Begin(theta[0], p[0], 300) // the temperature is found below
	m, left := c.Mass, 1-c.Residual
	vol, _ := c.Chamber.Volume(theta[0])
	t, err := c.warm(theta[0], p[0], vol)
	if err != nil {
		return err
	}
	c.in.refer(theta[0], p[0], t)
	b := c.Residual
	c.in.at(t, p[0], b, &c.s)
	u := c.s.u(p[0])
	start := c.Burn.Start()
	c.in.cond.Firing = theta[0] >= start
	hA, wallTemp := c.in.walls(theta[0], vol, p[0], t, m)
	flux := hA * (t - wallTemp)
	burned[0], heat[0] = 0, 0
	for i := 1; i < len(theta); i++ {
		p2, step := p[i], theta[i]-theta[i-1]
		vol2, _ := c.Chamber.Volume(theta[i])
		work := (p[i-1] + p2) / 2 * (vol2 - vol)
		c.in.cond.Firing = theta[i] >= start
		t2, b2, flux2 := t*p2*vol2/(p[i-1]*vol), b, flux
		done := false
		for range 40 {
			c.in.at(t2, p2, b2, &c.s)
			if hA, wallTemp = c.in.walls(theta[i], vol2, p2, t2, m); hA >= 0 {
				flux2 = hA * (t2 - wallTemp)
			}
			s := &c.s
			offV := s.v - vol2/m
			offU := s.u(p2) - u + (work+(flux+flux2)/2*step)/m
			uT, uB := s.hT-p2*s.vT+hA*step/(2*m), s.hB-p2*s.vB
			det := s.vT*uB - s.vB*uT
			dT, dB := (offV*uB-s.vB*offU)/det, (s.vT*offU-offV*uT)/det
			t2, b2 = math.Max(t2-dT, t2/2), b2-dB
			if !(math.Abs(dT) < 1e6 && math.Abs(dB) < 1e6) {
				break
			}
			if done = math.Abs(dT) < 1e-9*t2 && math.Abs(dB) < 1e-12; done {
				break
			}
		}
		if !done {
			return noState(theta[i], p2)
		}
		c.in.at(t2, p2, b2, &c.s)
		t, b, vol, u = t2, b2, vol2, c.s.u(p2)
		burned[i], heat[i] = (b-c.Residual)/left, heat[i-1]+(flux+flux2)/2*step
		flux = flux2
	}
	return nil
}

// warm returns the temperature at which the unburned charge fills vol [m³] at p [Pa].
func (c *Closed) warm(theta, p, vol float64) (float64, error) {
	t := 350.
	for range 40 {
		c.in.at(t, p, c.Residual, &c.s)
		step := (c.s.v - vol/c.Mass) / c.s.vT
		t = math.Max(t-step, t/2)
		if !(t < 1e5) {
			break
		}
		if math.Abs(step) < 1e-9*t {
			return t, nil
		}
	}
	return 0, noState(theta, p)
}

func noState(theta, p float64) error {
	return fmt.Errorf("solve: no state of the gas at %.4g deg and %.4g bar", theta*180/math.Pi, p/1e5)
}
