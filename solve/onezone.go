package solve

import (
	"math"

	"phasebench/model/valve"
	"phasebench/solve/ode"
)

// The components of the state of oneZone.
const (
	oneP     = iota // pressure [Pa]
	oneT            // temperature [K]
	oneM            // mass [kg]
	oneB            // burned mass fraction [-]
	oneWork         // ∫p dV [J]
	oneHeat         // given to the walls [J]
	oneIn           // net mass through the intake valves into the chamber [kg]
	oneOut          // net mass through the exhaust valves out of it [kg]
	oneFlow         // net enthalpy through all valves into the chamber [J]
	oneRing         // net enthalpy into the crevice [J]
	oneLeak         // mass past rings or seals [kg]
	oneRingB        // burned mass in the crevice [kg]
	onePortM        // in the intake port: mass that flowed back [kg]
	onePortB        // its burned mass [kg]
	onePortH        // its enthalpy [J]
	onePortT        // its mass times temperature [kg K]
	oneExitH        // in the exhaust port: specific enthalpy [J/kg]
	oneExitB        // burned fraction [-]
	oneExitT        // temperature [K]
	nOne
)

// oneZone is the first law for the chamber as one zone of uniform state, with
// valves open or shut:
//
//	m·dh = V·dp − dQ + Σ_in (h_k − h)·dm_k,  m·db = Σ_in (b_k − b)·dm_k
//
// and V = m·v. What flows back into the intake port waits there, unmixed with
// fresh charge and without losing heat, and is the first to return. The gas of
// the exhaust port is a mean of what has come out lately. Where a small share
// of the waiting gas is left, fresh charge mixes in smoothly.
type oneZone struct {
	place
	intake, exhaust   valve.Opening
	pIn, tIn, pOut    float64 // manifold pressure, temperature at entry [K], exhaust pressure
	hIn, rIn, gammaIn float64 // of the fresh charge at entry
	bIn               float64 // its burned fraction, see Solver.moist
	rOut, gammaOut    float64 // of the exhaust
	least             float64 // mass in the port that counts as little [kg]
	exit              float64 // mass of gas in the exhaust port [kg]
	s, back           state
}

var _ ode.Segmenter = (*oneZone)(nil)

// Segment implements ode.Segmenter: valve events must be breaks.
func (c *oneZone) Segment(from, to float64) {
	c.cond.Exchange = c.intake.Area((from+to)/2)+c.exhaust.Area((from+to)/2) > 0
	c.cond.Firing = false
}

// Derive implements ode.System.
func (c *oneZone) Derive(dst []float64, theta float64, y []float64) {
	p, t, m, b := y[oneP], y[oneT], y[oneM], y[oneB]
	vol, dVol := c.chamber.Volume(theta)
	s := &c.s
	c.at(t, p, b, s)
	for i := range dst {
		dst[i] = 0
	}
	hA, wallTemp := c.walls(theta, vol, p, t, m)
	heat := hA * (t - wallTemp)

	// Flows into the chamber [kg/rad]: their sum, and what they bring.
	var flow, enthalpy, sumH, sumB float64
	if area := c.intake.Area(theta); area > 0 {
		wait := y[onePortM] + c.least
		upT := (y[onePortT] + c.least*c.tIn) / wait
		in := valve.Between(area, c.pIn, upT, c.rIn, c.gammaIn, p, t, p*s.v/t, s.gamma(p)) / c.speed
		dst[oneIn] = in
		flow += in
		if in > 0 {
			h, ba := (y[onePortH]+c.least*c.hIn)/wait, (y[onePortB]+c.least*c.bIn)/wait
			enthalpy += in * h
			sumH += in * (h - s.h)
			sumB += in * (ba - b)
			k := in / wait
			dst[onePortM], dst[onePortB] = -k*y[onePortM], -k*y[onePortB]
			dst[onePortH], dst[onePortT] = -k*y[onePortH], -k*y[onePortT]
		} else {
			enthalpy += in * s.h
			dst[onePortM], dst[onePortB], dst[onePortH], dst[onePortT] = -in, -in*b, -in*s.h, -in*t
		}
	}
	if area := c.exhaust.Area(theta); area > 0 {
		out := valve.Between(area, p, t, p*s.v/t, s.gamma(p), c.pOut, y[oneExitT], c.rOut, c.gammaOut) / c.speed
		dst[oneOut] = out
		flow -= out
		if out > 0 {
			enthalpy -= out * s.h
			k := out / c.exit
			dst[oneExitH], dst[oneExitB], dst[oneExitT] = k*(s.h-y[oneExitH]), k*(b-y[oneExitB]), k*(t-y[oneExitT])
		} else {
			enthalpy -= out * y[oneExitH]
			sumH -= out * (y[oneExitH] - s.h)
			sumB -= out * (y[oneExitB] - b)
		}
	}

	perPressure, leak := c.ring(p)
	flow -= leak
	dst[oneLeak], dst[oneRing] = leak, leak*s.h
	if perPressure == 0 {
		dst[oneP], dst[oneT] = s.change(vol, dVol, m, flow, sumH-heat, sumB/m)
		dst[oneB] = sumB / m
	} else {
		// The flow into the crevice, perPressure·p', changes p' in turn: linear, so
		// two trials give it exactly.
		ringB := c.inRing(y[oneRingB], p)
		trial := func(into float64) (dp, dT, dB float64) {
			gain, dB := sumH-heat, sumB/m
			if into < 0 {
				gain -= into * (c.back.h - s.h)
				dB -= into * (ringB - b) / m
			}
			dp, dT = s.change(vol, dVol, m, flow-into, gain, dB)
			return dp, dT, dB
		}
		free, _, _ := trial(0)
		into := perPressure * free
		if into < 0 {
			c.at(c.linerTemp, p, ringB, &c.back)
		}
		unit := math.Copysign(m*1e-6, into)
		moved, _, _ := trial(unit)
		into /= 1 - perPressure*(moved-free)/unit
		dst[oneP], dst[oneT], dst[oneB] = trial(into)
		flow -= into
		if into > 0 {
			dst[oneRing] += into * s.h
			dst[oneRingB] = into * b
		} else {
			dst[oneRing] += into * c.back.h
			dst[oneRingB] = into * ringB
		}
	}
	dst[oneM] = flow
	dst[oneWork] = p * dVol
	dst[oneHeat] = heat
	dst[oneFlow] = enthalpy
}
