package reader

import (
	"math"

	"phasebench/model"
)

// habit is what the tracker expects of a cycle before it looks: from the engine
// file how long a burn takes, and from the cycles read how much longer it does.
// That moves slowly, and is doubted whenever the engine runs elsewhere.
type habit struct {
	way, early   float64 // spark to 10 %, 10 to 50 % [rad]
	speed, mapPa float64 // where those hold [rad/s], [Pa]

	seen  float64 // cycles learned from
	late  belief  // of ln of the way, over what the file says
	point Input   // where the engine ran at the last look
}

// Burn angles grow with the cube root of speed (Hires, Tabaczynski and Novak, SAE
// 780232, from memory) and shrink in dense charge, our own choice from the cycles
// for training. So are the other numbers here: deviations of ln(way) at first, at
// least and at most, of ln(early), of fading in shares and of ln(wide); the
// greatest share of what is learned; what is learned at a new point counts as so
// many cycles.
const (
	denseWay  = -0.25 // exponent of manifold pressure
	firstWay  = 0.15
	leastWay  = 0.12
	mostWay   = 0.25
	earlySd   = 0.10
	fadeAt    = 0.20 // [1/ms] at 100 kPa: heat leaves the faster the thinner the gas is
	fadeSd    = 0.4
	wideOfWay = 0.24
	wideSd    = 0.15
	slowest   = 0.03
	elsewhere = 2
	furthest  = 0.5 // of ln(way): no engine is so far from its file
)

// The front hump is 5 to 15 deg wide at half height (common practice, no source):
// its half width at 1/e.
const (
	thinnest = 3 * deg
	widest   = 9 * deg
)

// What takes an engine elsewhere: relative steps of speed and manifold pressure,
// and one of the spark. Our own choice.
const (
	otherSpeed = 0.05
	otherMAP   = 0.1
	otherSpark = 5 * deg
)

func newHabit(e *model.Engine) habit {
	b := &e.Burn
	h := habit{way: b.Development, early: b.Rapid * (half - tenth) / (ninety - tenth), speed: b.Base.Speed, mapPa: b.Base.MAP}
	if b.Law == model.BurnWiebe {
		s := &b.First
		at := func(x float64) float64 { return s.Span * math.Pow(-math.Log1p(-x)/s.A, 1/(s.M+1)) }
		h.way, h.early = s.Delay+at(0.1), at(0.5)-at(0.1)
	}
	if !(h.speed > 0 && h.mapPa > 0) { // the law does not know where its angles hold
		h.speed, h.mapPa = e.Point.Speed, e.Point.MAP
	}
	h.forget()
	return h
}

func (h *habit) forget() { h.seen, h.late, h.point = 0, belief{0, firstWay}, Input{} }

// usual is how long the way of in is [rad] by the engine file.
func (h *habit) usual(in *Input) float64 {
	w := h.way * math.Cbrt(in.Speed/h.speed)
	if in.MAP > 0 {
		w *= math.Pow(in.MAP/h.mapPa, denseWay)
	}
	return w
}

// expect stores in want what in should be.
func (h *habit) expect(in *Input, want *[unknowns]belief) {
	far := func(now, then, step float64) bool { return math.Abs(now-then) > step*then }
	p := &h.point
	if far(in.Speed, p.Speed, otherSpeed) || far(in.MAP, p.MAP, otherMAP) || math.Abs(in.Spark-p.Spark) > otherSpark {
		h.seen = math.Min(h.seen, elsewhere)
		h.late.sd = math.Max(h.late.sd, firstWay)
		*p = Input{Speed: in.Speed, MAP: in.MAP, Spark: in.Spark}
	}
	way := h.usual(in) * math.Exp(h.late.mean)
	sd := math.Max(leastWay, math.Min(mostWay, h.late.sd))
	fade := fadeAt
	if in.MAP > 0 {
		fade *= 100e3 / in.MAP
	}
	want[tenPct] = belief{way - in.Spark, sd * way}
	want[early] = belief{math.Log(way * h.early / h.way), earlySd}
	want[fading] = belief{fade, fadeSd * fade}
	want[wide] = belief{math.Log(math.Max(thinnest, math.Min(widest, wideOfWay*way))), wideSd}
	want[thermal] = belief{-0.7, 2} // anything: half the greatest sample, within e² of it
	want[front] = belief{-0.3, 2}
}

// learn takes in that 10 % of in were burned at an angle [rad].
func (h *habit) learn(in *Input, at float64) {
	way := at + in.Spark
	if !(way > 0) {
		return
	}
	h.seen++
	gain := math.Max(slowest, 1/(h.seen+3))
	off := math.Log(way/h.usual(in)) - h.late.mean
	h.late.mean = math.Max(-furthest, math.Min(furthest, h.late.mean+gain*off))
	h.late.sd = math.Sqrt((1 - gain) * (h.late.sd*h.late.sd + gain*off*off))
}
