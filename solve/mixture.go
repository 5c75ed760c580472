package solve

import "phasebench/model/gas"

// mixture is fresh charge with burned gas of one lambda: because both hold the
// same elements, one number, the burned mass fraction, tells the composition.
type mixture struct {
	fresh, burned gas.Gas
	f, g          gas.Props
}

// state is the properties of a mixture per kilogram with their partial
// derivatives by T [K] and p [Pa], and by the burned fraction.
type state struct {
	v, vT, vP, vB float64 // specific volume [m³/kg]
	h, hT, hP, hB float64 // specific enthalpy [J/kg]
}

// at stores in s the properties at burned fraction b.
func (x *mixture) at(t, p, b float64, s *state) {
	f, g, a := &x.f, &x.g, 1-b
	x.fresh.Props(t, p, f)
	x.burned.Props(t, p, g)
	*s = state{
		v: a*f.V + b*g.V, vT: (a*f.V*f.VT + b*g.V*g.VT) / t, vP: (a*f.V*f.VP + b*g.V*g.VP) / p, vB: g.V - f.V,
		h: a*f.H + b*g.H, hT: a*f.Cp + b*g.Cp, hP: a*f.HP + b*g.HP, hB: g.H - f.H,
	}
}

// pure stores in s the properties of burned gas alone.
func (x *mixture) pure(t, p float64, s *state) {
	g := &x.g
	x.burned.Props(t, p, g)
	*s = state{v: g.V, vT: g.V * g.VT / t, vP: g.V * g.VP / p, h: g.H, hT: g.Cp, hP: g.HP}
}

// u is the specific internal energy [J/kg] at pressure p [Pa].
func (s *state) u(p float64) float64 { return s.h - p*s.v }

// gamma is the isentropic exponent at t [K], p [Pa].
func (s *state) gamma(p float64) float64 { return -s.v / (p * (s.vP + s.vT*(s.v-s.hP)/s.hT)) }

// change solves the first law of one zone, m·dh = V·dp + gain, with V = m·v:
// it returns p' and T' of mass m [kg] in volume vol [m³], which grows by dVol,
// takes in flow [kg] net, gains gain [J] by heat and by the excess enthalpy of
// what comes in, and whose burned fraction grows by dB, all per radian.
func (s *state) change(vol, dVol, m, flow, gain, dB float64) (dp, dT float64) {
	// T' = slope·p' + rest into V' = m'·v + m·(vT·T' + vP·p' + vB·b')
	slope := (vol/m - s.hP) / s.hT
	rest := (gain/m - s.hB*dB) / s.hT
	dp = ((dVol-flow*s.v)/m - s.vT*rest - s.vB*dB) / (s.vT*slope + s.vP)
	return dp, slope*dp + rest
}

// blend is a mixture of fixed burned fraction as a gas.Gas.
type blend struct {
	*mixture
	b float64
}

// Props implements gas.Gas; the entropy leaves out that of mixing.
func (x blend) Props(t, p float64, dst *gas.Props) {
	var s state
	x.at(t, p, x.b, &s)
	*dst = gas.Props{V: s.v, H: s.h, U: s.u(p), S: (1-x.b)*x.f.S + x.b*x.g.S, Cp: s.hT, HP: s.hP, VT: s.vT * t / s.v, VP: s.vP * p / s.v}
}
