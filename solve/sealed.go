package solve

import (
	"fmt"
	"math"
	"slices"

	"phasebench/model/gas"
)

// sealed integrates the sealed part, y being the state of the one zone at its
// two ends.
func (s *Solver) sealed(y []float64, ign ignition) error {
	end := s.to
	if ign.lit {
		end = math.Max(s.from, ign.start)
	}
	if _, err := s.step.one.Integrate(&s.one, s.from, end, y, &s.oneRun); err != nil {
		return fmt.Errorf("solve: compression: %w", err)
	}
	if !ign.lit {
		return nil
	}
	two := &s.two
	share := wiebeKernel * two.share
	if len(two.fronts) > 0 {
		share = s.kernel * math.Exp((1-s.vary.Development)*s.engine.Burn.Development/grows) * two.fronts[s.firstPlug()].Share
	}
	if err := s.split(end, y, share); err != nil {
		return err
	}
	z := s.y2
	s.crest(end, z[twoP]) // the pressure may turn where the slope jumps
	s.inTwo = true
	s.twoRun.Breaks = two.burn.Breaks(s.twoRun.Breaks[:0])
	if last := two.burn.Angle(lastBurned); last < s.to { // the knock integral ends there
		s.twoRun.Breaks = append(s.twoRun.Breaks, last)
		slices.Sort(s.twoRun.Breaks)
	}
	at := end
	if len(two.fronts) == 2 {
		first := s.firstPlug()
		second := 1 - first
		z[twoEntrained+first], z[twoFront+first] = z[twoMb], z[twoMb]
		if two.lit[second] > at && two.lit[second] < s.to {
			if _, err := s.step.two.Integrate(two, at, two.lit[second], z, &s.twoRun); err != nil {
				return fmt.Errorf("solve: combustion: %w", err)
			}
			at = two.lit[second]
		}
		if two.lit[second] < s.to {
			z[twoEntrained+second] = math.Max(z[twoEntrained+second], s.kernel*two.fronts[second].Share*two.total)
		}
	} else if len(two.fronts) == 1 {
		z[twoEntrained], z[twoFront] = z[twoMb], z[twoMb]
	}
	if _, err := s.step.two.Integrate(two, at, s.to, z, &s.twoRun); err != nil {
		return fmt.Errorf("solve: combustion: %w", err)
	}
	s.integral = z[twoKnock]
	s.inTwo = false
	return s.join(y)
}

// firstPlug is the plug that fires first.
func (s *Solver) firstPlug() int {
	if s.plugs == 2 && s.two.lit[1] < s.two.lit[0] {
		return 1
	}
	return 0
}

// split divides the one zone y at theta [rad] into two, of which the burned
// one has share of the mass; mass, volume and energy stay. The kernel burns at
// constant pressure, then both zones are brought to fill the chamber.
func (s *Solver) split(theta float64, y []float64, share float64) error {
	c, z := &s.two, s.y2
	for i := range z {
		z[i] = 0
	}
	p, t, m := y[oneP], y[oneT], y[oneM]
	c.total, c.residual = m, y[oneB]
	vol, _ := c.chamber.Volume(theta)
	var u, b state
	c.at(t, p, c.residual, &u)
	energy := m * u.u(p)
	c.density = 1 / u.v
	hot, err := gas.FlameHP(blend{&c.mixture, c.residual}, c.burned, t, p)
	if err != nil {
		return fmt.Errorf("solve: at %.4g rad: %w", theta, err)
	}
	mb := share * m
	perPressure, _ := c.ring(p)
	entering := u.h
	fill := func(p2 float64) (tu, tb, mu, off float64) {
		hidden := perPressure * (p2 - p) // goes into the crevice
		mu = m - mb - hidden
		c.pure(hot, p, &b)
		tb = hot + (b.v-b.hP)/b.hT*(p2-p)
		c.pure(tb, p2, &b)
		want := (energy - hidden*entering - mb*b.u(p2)) / mu
		tu = t
		for range 20 {
			c.at(tu, p2, c.residual, &u)
			step := (want - u.u(p2)) / (u.hT - p2*u.vT)
			tu += step
			if math.Abs(step) < 1e-13*tu {
				break
			}
		}
		c.at(tu, p2, c.residual, &u)
		return tu, tb, mu, (mu*u.v+mb*b.v)/vol - 1
	}
	p0, p1 := p, p*(1+10*share)
	_, _, _, f0 := fill(p0)
	tu, tb, mu, f1 := fill(p1)
	for n := 0; n < 30 && math.Abs(f1) > 1e-14 && f1 != f0; n++ {
		p0, p1, f0 = p1, p1-f1*(p1-p0)/(f1-f0), f1
		tu, tb, mu, f1 = fill(p1)
	}
	if !(math.Abs(f1) < 1e-10) {
		return fmt.Errorf("solve: at %.4g rad: no kernel of %g of the charge fills the chamber with the rest", theta, share)
	}
	z[twoP], z[twoTu], z[twoTb], z[twoMu], z[twoMb] = p1, tu, tb, mu, mb
	hidden := perPressure * (p1 - p)
	z[twoWork], z[twoHeat], z[twoLeak] = y[oneWork], y[oneHeat], y[oneLeak]
	z[twoRing], z[twoRingB] = y[oneRing]+hidden*entering, y[oneRingB]+hidden*c.residual
	return nil
}

// join mixes the two zones into one at exhaust opening; mass, volume and
// energy stay.
func (s *Solver) join(y []float64) error {
	c, z := &s.two, s.y2
	p, mu, mb := z[twoP], z[twoMu], z[twoMb]
	m := mu + mb
	vol, _ := c.chamber.Volume(s.to)
	c.at(z[twoTu], p, c.residual, &c.u)
	c.pure(z[twoTb], p, &c.b)
	energy := mu*c.u.u(p) + mb*c.b.u(p)
	b := (mb + c.residual*mu) / m
	perPressure, _ := c.ring(p)
	h := (mu*c.u.h + mb*c.b.h) / m
	t, joined, hidden := (mu*z[twoTu]+mb*z[twoTb])/m, p, 0.
	for range 4 { // the crevice takes up what the pressure changes by
		var err error
		left := m - hidden
		t, joined, err = gas.TPFromUV(blend{&c.mixture, b}, (energy-hidden*h)/left, vol/left, t, joined)
		if err != nil {
			return fmt.Errorf("solve: at exhaust opening: %w", err)
		}
		hidden = perPressure * (joined - p)
		if perPressure == 0 {
			break
		}
	}
	y[oneP], y[oneT], y[oneM], y[oneB] = joined, t, m-hidden, b
	y[oneWork], y[oneHeat], y[oneLeak] = z[twoWork], z[twoHeat], z[twoLeak]
	y[oneRing], y[oneRingB] = z[twoRing]+hidden*h, z[twoRingB]+hidden*b
	return nil
}
