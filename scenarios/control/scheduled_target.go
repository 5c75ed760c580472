package control

import "math"

var scheduledKind = Kind{Name: "scheduled-target", About: "integral towards a target that falls as the burn slows and as the engine speeds up",
	Numbers: []Number{
		{"gain", "move over error", "deg/deg", 1, 0, 2, 0.05},
		rate,
		{"cycles", "about so many cycles count for the interval from spark to peak", "cycles", 1, 1, 10000, 50},
		{"slope", "target over interval", "deg/deg", 1, -0.5, 0, -0.139},
		{"interval_deg", "interval that leaves the target alone at 2200 rpm", "deg", deg, 10, 100, 42.05},
		{"heat_deg", "the target is so much lower at e times the speed", "deg", deg, 0, 5, 0.69},
		{"most_deg", "farthest from the target that was asked for", "deg", deg, 0, 20, 6},
	},
	make: func(v values) Law {
		l := &scheduled{gain: v["gain"], rate: v["rate_deg"], cycles: v["cycles"], slope: v["slope"],
			reference: v["interval_deg"], heat: v["heat_deg"], most: v["most_deg"]}
		l.Reset()
		return l
	}}

// scheduledSpeed is where the heat term of scheduled is 0 [rad/s]: 2200 rpm.
const scheduledSpeed = 2200 * math.Pi / 30

// scheduled is the law integral with a target of its own,
//
//	target = asked for + b·(I − I₀) − h·ln(N/2200 rpm),
//
// I the slow mean of the interval from spark to peak (spark advance + LPP), N the
// speed. LPP at MBT falls as the burn slows, which lengthens I, and rises with the
// share of heat that the walls take, which is large at low speed (recomputed from the
// first law: 11.3 deg for a burn of 100 deg, 18.3 deg at 800 rpm, from 14.3 deg).
//
// Our own choice: fitted to the pump set's mean cycle, by least squares over LPP at MBT
// at 1200, 1900, 2600, 3300 and 4000 rpm by 30, 50, 75 and 100 kPa, each at lambda 1,
// 0.85 and 1.2, and at lambda 1 with 30 g/kg of water in the air: 80 nodes, for 15 deg
// asked for. The rms residual is 0.39 deg, the greatest 0.95 deg; a constant 15 deg is
// off by 1.44 deg rms, the best constant, 14.3 deg, by 1.28. At 24 nodes between them it
// is 0.33 against 1.03 deg for 15 deg. At 18 nodes of the engine small-196 it is 0.87 against
// 1.38 deg, and asks for 0.73 deg too little in the mean. A term of MAP, and one of I²,
// gain less than 0.1 deg. Near MBT little torque hangs on it: 1.4 deg of LPP are worth
// about 0.1 %.
//
// The usual gain is the one of 0.02, 0.03, 0.05 and 0.1 that loses the least torque in the mean
// of 8 points of 1500 to 3000 rpm and 45 to 95 kPa; they differ by less than 0.01 % there.
// See TestField of package loop.
//
// The target answers to the spark itself by b·(1−a), a the slope of the plant: for
// b = −0.139 that is −0.03 deg/deg, no matter to the loop. Before the first interval, or at
// no known speed, the target is what was asked for. A reading that declined moves
// nothing.
type scheduled struct {
	gain, rate                           float64
	cycles, slope, reference, heat, most float64
	interval                             float64 // slow mean [rad]
	count                                float64 // of intervals in it, up to cycles
}

// Reset implements Law.
func (l *scheduled) Reset() { l.interval, l.count = 0, 0 }

// Next implements Law.
func (l *scheduled) Next(s *Seen) Order {
	l.see(s.Fired.Leading + s.Reading.Angle)
	e := s.Reading.Angle - s.Target
	if l.count > 0 {
		e -= bounded(l.shift(l.interval, s.Speed), l.most)
	}
	return together(s.Ordered.Leading + bounded(l.gain*beyond(e, 0), l.rate))
}

// see adds an interval [rad] to the mean, if it can be one: a peak comes after its
// spark, and within half a turn.
func (l *scheduled) see(interval float64) {
	if !(interval > 0 && interval < math.Pi) {
		return
	}
	l.count = math.Min(l.count+1, l.cycles)
	l.interval += (interval - l.interval) / l.count
}

// shift is by how much the target differs from that asked for [rad], NaN at no known
// speed.
func (l *scheduled) shift(interval, speed float64) float64 {
	return l.slope*(interval-l.reference) - l.heat*math.Log(speed/scheduledSpeed)
}
