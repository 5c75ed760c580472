package control

import "math"

var extremumTorqueKind = Kind{Name: "extremum-torque", About: "dithers the spark slowly and climbs measured torque", Needs: []Need{NeedTorque},
	Numbers: extremumNumbers(3, 40, 0.2),
	make:    func(v values) Law { return newExtremum(v, 1, func(s *Seen) float64 { return s.Torque }) }}

var extremumAirflowKind = Kind{Name: "extremum-airflow", About: "dithers the spark slowly and descends measured airflow, where a governor holds torque", Needs: []Need{NeedAirflow},
	Numbers: extremumNumbers(4, 240, 2),
	make:    func(v values) Law { return newExtremum(v, -1, func(s *Seen) float64 { return s.Airflow }) }}

// extremumNumbers are the numbers of an extremum law; what differs in what is usual
// are dither, period and lag.
func extremumNumbers(dither, cycles, lag float64) []Number {
	return []Number{
		{"dither_deg", "amplitude of the dither", "deg", deg, 0.5, 6, dither},
		{"cycles", "period of the dither", "cycles", 1, 16, 2000, cycles},
		{"lag_s", "time constant with which the instrument answers to the spark", "s", 1, 0, 20, lag},
		{"gain", "move after a period, over what the slope asks for", "-", 1, 0, 1, 0.3},
		{"most_deg", "most move after a period", "deg", deg, 0.05, 10, 2},
	}
}

// extremumBend is by how much torque falls off its maximum, relative, T = T₀·(1 − k·x²)
// at x from MBT [1/rad²]: 2.8e-4 to 3.3e-4 per deg², recomputed from the first law for a
// fixed shape of burn. Brake torque bends more, by what friction takes: there the law
// moves by so much more than its gain.
const extremumBend = 3.1e-4 / (deg * deg)

// extremum seeks the spark of greatest torque, or of least airflow, by a dither of
// amplitude D and period n about the spark,
//
//	s(i) = center + D·sin(2π·i/n).
//
// The instrument lags with a time constant τ (0.2 s for the dynamometer; a governor
// that moves the throttle adds seconds to airflow), so what it shows belongs to the spark
// that fired, put through the same lag:
//
//	x' = x + (1 − exp(−Δt/τ))·(fired − x),
//
// and so its square, z. After each period it fits
//
//	y = b₀ + b₁·t + b₂·x + b₃·z
//
// about the center, b₁ against drift, b₃ for the bend, which would else leak into b₂,
// and moves the center by
//
//	K·b₂/(2·k·b₀),
//
// what is left to the maximum of y = b₀·(1 − k·x²), with the other sign for a minimum, times
// a gain. That takes phase and amplitude as the lag leaves them, and counts what the
// guard made of the dither as it fired. A period much shorter than 2π·τ leaves little
// to see: at 4000 rpm 40 cycles are 1.2 s, and 0.2 s leave 69 % of the
// amplitude. Extremum seeking of spark on a dynamometer: Popovic and others, IEEE Trans.
// Control Syst. Technol. 14(3) 398, 2006 (seen in the abstract only); this demodulation by
// regression on the lagged spark is our own choice.
//
// The dither is never integrated: the center is the last order less the dither that
// was in it. A sine, so that the spark moves by no more than 2π·D/n in a cycle and a
// guard's bound to moves lets it pass. A cycle without torque or airflow, without what
// fired or without a clock moves nothing: the dither stops where it is. A period in which
// the spark as shown moved by less than a tenth of D, rms, tells nothing. Where a guard
// stops the dither over and over, as by a slope test each time that it gets far ahead of
// the base map, the center falls back: with airflow and the usual guard over a base map
// of 19.4 deg it rested at 21.7 deg, and at 25.2 deg without that test, for an MBT of
// 25.4 deg (pump set, 2200 rpm, torque held near that of 77 kPa).
type extremum struct {
	dither, lag, gain, most float64
	cycles                  int
	sign                    float64 // 1: maximum, −1: minimum
	of                      func(*Seen) float64

	i      int     // cycle of the period
	added  float64 // dither in the last order [rad]
	about  float64 // center when the period began [rad]
	begun  bool
	time   float64 // of the last cycle [s]
	x, z   float64 // spark and its square as the instrument shows them [rad], [rad²]
	period regression
}

func newExtremum(v values, sign float64, of func(*Seen) float64) *extremum {
	return &extremum{dither: v["dither_deg"], cycles: int(v["cycles"]), lag: v["lag_s"], gain: v["gain"], most: v["most_deg"],
		sign: sign, of: of, period: regression{columns: 4}}
}

// Reset implements Law.
func (l *extremum) Reset() {
	l.i, l.added, l.begun = 0, 0, false
	l.period.clear()
}

// Next implements Law.
func (l *extremum) Next(s *Seen) Order {
	y := l.of(s)
	if !l.shown(s) || !finite(y) {
		return together(s.Ordered.Leading)
	}
	center := s.Ordered.Leading - l.added
	if l.i == 0 {
		l.about = center
	}
	n := float64(l.cycles)
	x, z := l.x-l.about, l.z-2*l.about*l.x+l.about*l.about
	l.period.add(y, [4]float64{1, 2*float64(l.i)/n - 1, x / l.dither, z / (l.dither * l.dither)})
	if l.i++; l.i == l.cycles {
		center += l.move()
		l.period.clear()
		l.i = 0
	}
	l.added = l.dither * math.Sin(2*math.Pi*float64(l.i)/n)
	return together(center + l.added)
}

// shown follows the spark with the lag of the instrument; false if it cannot.
func (l *extremum) shown(s *Seen) bool {
	fired, dt := s.Fired.Leading, s.Time-l.time
	if !finite(fired) || !finite(s.Time) {
		return false
	}
	l.time = s.Time
	switch {
	case !l.begun:
		l.x, l.z, l.begun = fired, fired*fired, true
		return false
	case !(dt > 0):
		return false
	}
	keep := 0.
	if l.lag > 0 {
		keep = math.Exp(-dt / l.lag)
	}
	l.x = keep*l.x + (1-keep)*fired
	l.z = keep*l.z + (1-keep)*fired*fired
	l.begun = finite(l.x) && finite(l.z)
	return l.begun
}

// move is what the period that ends asks for [rad].
func (l *extremum) move() float64 {
	b, inverse, _, ok := l.period.solve()
	if !ok || !(b[0] > 0) || !(inverse[2]*float64(l.period.n) < 100) { // 1/inverse: the sum of squares of x, less drift
		return 0
	}
	slope := b[2] / l.dither
	return bounded(l.gain*l.sign*slope/(2*extremumBend*b[0]), l.most)
}
