package control

import (
	"math"
)

var vertexKind = Kind{Name: "vertex", About: "integral towards the phase at which cycles that vary by themselves work most", Needs: []Need{NeedPressure},
	Numbers: []Number{
		{"cycles", "cycles that the parabola goes through", "cycles", 1, 30, 5000, 200},
		{"gain", "move over error", "deg/deg", 1, 0, 0.5, 0.02},
		{"corrected", "1: work over apparent net heat, 0: work", "0/1", 1, 0, 1, 0},
		rate,
	},
	make: func(v values) Law {
		return &vertex{gain: v["gain"], rate: v["rate_deg"], corrected: v["corrected"] == 1, recent: newRing[phased](int(v["cycles"]))}
	}}

// How sure a vertex must be. Our own choice.
const (
	vertexErrors = 3   // standard errors by which the parabola must bend down
	vertexReach  = 2   // standard deviations of the readings that it may lie from their mean
	vertexPoint  = 0.1 // relative change of speed or MAP that makes another operating point
)

// vertex is the law integral with a target that needs no dither: at a spark that moves
// slowly cycles differ by themselves, some early, some late, and trace work against
// phase. Through the last cycles' readings θ of single cycles it fits
//
//	y = b₀ + b₁·u + b₂·u²,  u = θ − mean(θ),
//
// and moves s' = s + K·(LPP − vertex), the vertex at mean(θ) − b₁/(2·b₂), no farther
// than two standard deviations from the mean. y is net IMEP, or corrected IMEP over apparent
// net heat. Idea: Corti and Forte, J. Eng. Gas Turbines Power 133(9) 092804, 2011 (seen
// in the abstract only); the fit and its bounds are our own choice.
//
// The plain vertex is where work is greatest only if cycles differ in nothing but
// phase. Where early cycles release more net heat, the plain vertex is too early, and
// the correction puts it right. But net heat is what the walls have left: where late
// cycles have more of it because they lose less, the correction takes wall heat out of
// the balance, and over-advances. The simulated pump set is such an engine. At 2200 rpm
// and 80 kPa, 3000 cycles at MBT with LPP at 14.8 deg, net heat rises by 0.27 % for 1 deg
// later, the plain vertex lies at 12.5 deg and the corrected one at 7.1 deg. In closed loop
// (8 runs of 3400 cycles each, from cycle 400 on) the plain law loses 0.13 % of torque there, 95 %
// interval 0.10 to 0.15, and 0.26 % at 3000 rpm and 50 kPa, 0.23 to 0.29, with the peak 1.5 and
// 2.3 deg before 15 deg; the corrected one 1.8 and 1.9 %, with the peak 5.1 and 4.7 deg before it.
// So the correction is off unless it is asked for. See TestField of package loop.
//
// With too few readings in the window (less than half of it), or where the parabola
// does not bend down by three standard errors of b₂, there is no vertex, and the law
// goes slowly, at the same gain, for the target that was asked for: so noise cannot
// walk it away. It begins anew when speed or MAP change by more than 10 %. A cycle without
// a reading, IMEP or heat is not counted; a reading that declined moves nothing.
type vertex struct {
	gain, rate   float64
	corrected    bool
	recent       ring[phased]
	speed, mapPa float64 // where the window began
}

// phased is one cycle: when it peaked [rad], and what it was worth.
type phased struct{ at, worth float64 }

// Reset implements Law.
func (l *vertex) Reset() { l.recent.clear() }

// Next implements Law.
func (l *vertex) Next(s *Seen) Order {
	l.see(s)
	target, ok := l.find()
	if !ok {
		target = s.Target
	}
	return together(s.Ordered.Leading + bounded(l.gain*beyond(s.Reading.Angle-target, 0), l.rate))
}

// see counts a cycle in.
func (l *vertex) see(s *Seen) {
	worth := s.IMEP
	if l.corrected {
		if !(s.Heat > 0) {
			return
		}
		worth /= s.Heat
	}
	if !finite(worth) || !finite(s.Single.Angle) {
		return
	}
	if away(s.Speed, l.speed) || away(s.MAP, l.mapPa) {
		l.recent.clear()
	}
	if len(l.recent.all) == 0 {
		l.speed, l.mapPa = s.Speed, s.MAP
	}
	l.recent.add(phased{s.Single.Angle, worth})
}

// away tells whether v is at another operating point than from; what is not known is
// not.
func away(v, from float64) bool { return math.Abs(v-from) > vertexPoint*math.Abs(from) }

// find returns the vertex [rad], if there is one.
func (l *vertex) find() (at float64, ok bool) {
	n := len(l.recent.all)
	if 2*n < cap(l.recent.all) {
		return 0, false
	}
	var angle, worth float64
	for _, c := range l.recent.all {
		angle += c.at / float64(n)
		worth += c.worth / float64(n)
	}
	sd := 0.
	for _, c := range l.recent.all {
		sd += (c.at - angle) * (c.at - angle) / float64(n-1)
	}
	sd = math.Sqrt(sd)
	if !(sd > 0 && worth > 0) {
		return 0, false
	}
	fit := regression{columns: 3}
	for _, c := range l.recent.all {
		u := (c.at - angle) / sd
		fit.add(c.worth/worth-1, [4]float64{1, u, u * u})
	}
	b, inverse, variance, ok := fit.solve()
	if !ok || !(b[2] < -vertexErrors*math.Sqrt(variance*inverse[2])) {
		return 0, false
	}
	return angle + sd*bounded(-b[1]/(2*b[2]), vertexReach), true
}
