package loop

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// byHand is a run of n cycles of 0.1 s each in which all is well, changed by change.
func byHand(n int, change func(i int, s *Step)) *Run {
	nan := math.NaN()
	r := &Run{Scenario: &Scenario{Legs: make([]Leg, 1), Actuator: UsualActuator()}}
	r.Scenario.Legs[0].Operating.Spark = 22 * deg
	spark := control.Order{Leading: 22 * deg, Trailing: nan}
	for i := range n {
		s := Step{Cycle: i, Time: 0.1 * float64(i+1), Target: 14 * deg, Base: 22 * deg, Fired: spark, Want: spark, Ordered: spark,
			Single: reader.Reading{Angle: 14 * deg, Quality: 1}, State: control.Follow, Safe: control.Range{From: nan, To: nan},
			Truth: stream.Truth{LPP: 14 * deg, CA50: 8 * deg, Peak: 30e5, Torque: 20, KnockIntensity: 0.1e5}, TorqueMBT: 20}
		if change != nil {
			change(i, &s)
		}
		r.Steps = append(r.Steps, s)
	}
	return r
}

// rounding is what adding up some hundred numbers may lose, relative.
const rounding = 1e-12

func TestVerdictSettle(t *testing.T) {
	fires := func(spark func(i int) float64) func(int, *Step) {
		return func(i int, s *Step) { s.Fired.Leading = spark(i) * deg }
	}
	step := func(at int, from, to float64) func(int, *Step) {
		return fires(func(i int) float64 {
			if i < at {
				return from
			}
			return to
		})
	}
	for _, c := range []struct {
		name   string
		cycles int
		change func(int, *Step)
		want   float64 // [cycles]
		source string
	}{
		{"still", 80, nil, 0, "nothing moves"},
		{"too short", 79, nil, math.NaN(), "its last quarter is 19 cycles"},
		{"a step", 200, step(30, 12.5, 22), 26, "4 of 20 cycles 9.5 deg off are 1.9 deg on the mean, 5 are 2.375 deg"},
		{"a small step", 200, step(30, 20.1, 22), 0, "never more than 2 deg off"},
		{"a step in the last quarter", 200, step(170, 12, 22), math.NaN(), "the last quarter's mean is 18 deg, both sides of the step are 4 or 6 deg off"},
		{"a slow hunt", 200, fires(func(i int) float64 { return 22 + 8*math.Sin(2*math.Pi*float64(i)/50) }), math.NaN(), "means of 20 cycles swing by 6 deg, the quarter is one period"},
		{"a fast scatter", 200, fires(func(i int) float64 { return 22 + 8*math.Cos(math.Pi*float64(i)) }), 0, "means of 20 cycles are level"},
	} {
		v := byHand(c.cycles, c.change).Verdict()
		require.Len(t, v.Legs, 1, c.name)
		if math.IsNaN(c.want) {
			assert.True(t, math.IsNaN(v.Settle) && math.IsNaN(v.SettleTime) && math.IsNaN(v.Hover) && math.IsNaN(v.TorqueLostSettled), "%s: %s", c.name, c.source)
			assert.Equal(t, 1, v.Unsettled, c.name)
			continue
		}
		assert.Equal(t, c.want, v.Settle, "%s: %s", c.name, c.source)
		assert.InDelta(t, 0.1*c.want, v.SettleTime, rounding, "%s: 0.1 s a cycle", c.name)
		assert.Zero(t, v.Unsettled, c.name)
	}
}

// Legs begin where the scenario changes, and each has numbers of its own.
func TestVerdictLegs(t *testing.T) {
	r := byHand(400, func(i int, s *Step) {
		switch {
		case i >= 300: // hovers by 1 deg, and its peaks by 2 deg about 3 deg late
			s.Fired.Leading += deg * math.Cos(math.Pi*float64(i))
			s.Truth.LPP = (17 + 2*math.Cos(math.Pi*float64(i))) * deg
			s.Truth.Torque = 19
		case i >= 100 && i < 110: // on the way
			s.Fired.Leading -= 10 * deg
			s.Truth.Torque = 10
		}
	})
	r.Scenario.Legs = append(r.Scenario.Legs, Leg{Cycle: 100}, Leg{Cycle: 9000})
	r.Scenario.Sensing.Faults = []sensor.Fault{{From: 200, To: 300}, {From: 100, To: -1}}
	v := r.Verdict()
	require.Len(t, v.Legs, 4)
	for i, l := range v.Legs {
		assert.Equal(t, []int{100 * i, 100 * (i + 1)}, []int{l.First, l.Last}, "legs and faults come at 100, 200 and 300")
	}
	assert.Equal(t, []int{0, 400}, []int{v.First, v.Last})
	assert.Equal(t, 6., v.Legs[1].Settle, "4 of 20 cycles 10 deg off are just 2 deg on the mean")
	assert.Equal(t, 6., v.Settle, "the worst leg")
	assert.InDelta(t, 0.6, v.SettleTime, rounding)
	last := v.Legs[3]
	sd := math.Sqrt(100. / 99) // 100 values of ±1
	assert.InDelta(t, sd*deg, last.Hover, rounding)
	assert.InDelta(t, 2*sd*deg, last.HoverLPP, rounding)
	assert.InDelta(t, 3*deg, last.OffTarget, rounding)
	assert.InDelta(t, 3*deg, v.OffTarget, rounding, "the worst leg")
	assert.InDelta(t, 2*sd*deg, v.HoverLPP, rounding, "the worst leg")
	assert.InDelta(t, 0, v.Legs[0].Hover, rounding)

	assert.InDelta(t, 0.05, last.TorqueLost, rounding, "1 − 19/20")
	assert.InDelta(t, 0.05, v.Legs[1].TorqueLost, rounding, "10 cycles of 100 lose half")
	assert.InDelta(t, 4*0.5/94, v.Legs[1].TorqueLostSettled, rounding, "of which 4 are in the settled part of 94")
	assert.InDelta(t, (10*0.5+100*0.05)/400, v.TorqueLost, rounding)
	assert.InDelta(t, (4*0.5+100*0.05)/394, v.TorqueLostSettled, rounding)
}

// The worst leg is the one that is farthest off, on either side; one that never
// settles leaves the run without a number of cycles.
func TestVerdictWorst(t *testing.T) {
	r := byHand(400, func(i int, s *Step) {
		switch {
		case i < 100:
			s.Truth.LPP = 10 * deg
		case i < 200:
			s.Truth.LPP = 16 * deg
		case i < 370:
			s.Fired.Leading = 12 * deg
		}
	})
	r.Scenario.Legs = append(r.Scenario.Legs, Leg{Cycle: 100}, Leg{Cycle: 200})
	v := r.Verdict()
	assert.InDelta(t, -4*deg, v.OffTarget, rounding)
	assert.Equal(t, []float64{0, 0}, []float64{v.Legs[0].Settle, v.Legs[1].Settle})
	assert.Equal(t, 1, v.Unsettled, "the last leg moves in the middle of its last quarter")
	assert.True(t, math.IsNaN(v.Settle) && math.IsNaN(v.SettleTime))
	assert.False(t, math.IsNaN(v.Hover), "of the legs that do")
}

func TestVerdictTorque(t *testing.T) {
	v := byHand(100, func(i int, s *Step) {
		if s.Truth.Torque = 20.1; i < 50 {
			s.TorqueMBT, s.Truth.Torque = math.NaN(), 3
		}
	}).Verdict()
	assert.InDelta(t, -0.005, v.TorqueLost, rounding, "cycles without a twin do not count, and better is negative")
	v = byHand(100, func(_ int, s *Step) { s.TorqueMBT = -1 }).Verdict()
	assert.True(t, math.IsNaN(v.TorqueLost), "an engine that is dragged")
}

func TestVerdictCounts(t *testing.T) {
	r := byHand(100, func(i int, s *Step) {
		switch i {
		case 1:
			s.Truth.Peak, s.Truth.KnockIntensity, s.Truth.Knocking = 61e5, 2.1e5, true
		case 2:
			s.Truth.Peak, s.Truth.KnockIntensity = 60e5, 2e5 // at the ceiling is not above
		case 3:
			s.Truth.Misfire = true
		case 4, 5:
			s.Single.Angle = math.NaN()
		case 6:
			s.Want.Leading, s.State = 30*deg, control.Limit
		case 7:
			s.Want.Leading, s.State = math.NaN(), control.Hold
		case 8:
			s.Want.Leading, s.State = 25*deg, control.Return
		case 9, 10:
			s.State = control.Fallback
		case 11:
			s.Ordered.Leading, s.Want.Leading = 10*deg, 10*deg
		}
	})
	r.Scenario.Ceiling = Ceiling{Peak: 60e5, Knock: 2e5}
	v := r.Verdict()
	assert.Equal(t, []int{1, 1, 1}, []int{v.OverPeak, v.OverKnock, v.Misfires})
	assert.InDelta(t, 0.01, v.Knocking, rounding)
	assert.InDelta(t, 0.02, v.Declined, rounding)
	assert.Equal(t, 3, v.Refused)
	assert.Equal(t, map[control.State]int{control.Follow: 95, control.Limit: 1, control.Hold: 1, control.Return: 1, control.Fallback: 2}, v.States)
	assert.Equal(t, 3, v.Fallback)
	assert.InDelta(t, 12*deg, v.Authority, rounding)
	r.Scenario.Ceiling = Ceiling{}
	v = r.Verdict()
	assert.Zero(t, v.OverPeak+v.OverKnock, "no ceiling")
}

func TestVerdictReadings(t *testing.T) {
	for _, c := range []struct {
		lpp, ca50, read float64 // [deg]
		misfire         bool
		wrong, isFalse  bool
		why             string
	}{
		{10.9, 8, 14.1, false, true, false, "3.1 deg early, read as late"},
		{11.1, 8, 14.1, false, false, false, "not clear of the target"},
		{10.9, 8, 13.9, false, false, false, "both early"},
		{17.1, 9, 13.9, false, true, false, "late, read as early"},
		{17.1, 9, 6, false, true, true, "and false"},
		{14, 8, 24.1, false, false, true, "10.1 deg off"},
		{14, 8, 23.9, false, false, false, "9.9 deg off"},
		{1, 40, 39, false, false, false, "the burn is what counts after the motored hump"},
		{1, 40, 2, false, true, true, "the motored hump is read"},
		{1, 8, 2, false, false, false, "an early burn, not a motored hump"},
		{1, 8, 14, true, false, true, "a misfire has no peak"},
		{1, 8, math.NaN(), true, false, false, "and no reading is never false"},
	} {
		v := byHand(80, func(i int, s *Step) {
			if i == 40 {
				s.Truth.LPP, s.Truth.CA50, s.Truth.Misfire, s.Single.Angle = c.lpp*deg, c.ca50*deg, c.misfire, c.read*deg
			}
		}).Verdict()
		assert.Equal(t, int(flag(c.wrong)), v.WrongSide, c.why)
		assert.Equal(t, int(flag(c.isFalse)), v.FalseRun, c.why)
	}
	v := byHand(80, func(i int, s *Step) {
		switch i {
		case 3, 4, 5, 7, 8, 9, 10, 20, 21:
			s.Single.Angle = 40 * deg
		case 6:
			s.Single.Angle = math.NaN()
		}
	}).Verdict()
	assert.Equal(t, 4, v.FalseRun, "3, then none, then 4, later 2")
}

func TestVerdictBelieved(t *testing.T) {
	r := byHand(80, func(i int, s *Step) {
		if i < 10 {
			return
		}
		s.Safe = control.Range{From: 10 * deg, To: 30 * deg}
		set := func(fired float64) { s.Fired.Leading = fired * deg }
		switch i { // cycle i fires by the order of i−2; orders are those of the cases below
		case 20:
			set(34) // beyond, not far
		case 21:
			set(36) // by orders
		case 22:
			set(37) // by a hand
		case 23:
			set(36) // later again
		case 24:
			set(4) // on the other side
		case 25:
			set(4.5) // earlier by orders, but not too early
		}
		switch i + 2 {
		case 20:
			s.Ordered.Leading = 34 * deg
		case 21, 22, 23:
			s.Ordered.Leading = 36 * deg
		case 24:
			s.Ordered.Leading = 4 * deg
		case 25:
			s.Ordered.Leading = 4.5 * deg
		}
	})
	r.Scenario.Actuator.Delay = 2
	v := r.Verdict()
	assert.Equal(t, []int{70, 6, 5, 1}, []int{v.Ranged, v.Beyond, v.BeyondFar, v.DrivenOut})

	r = byHand(80, func(i int, s *Step) { s.Safe = control.Range{From: 10 * deg, To: 30 * deg} })
	r.Steps[1].Fired.Leading, r.Steps[0].Ordered.Leading = 40*deg, 40*deg
	assert.Equal(t, 1, r.Verdict().DrivenOut, "the order of the first cycle is held against the spark of the first leg")
	r.Steps[0].Ordered.Leading = 22 * deg
	assert.Zero(t, r.Verdict().DrivenOut, "a hand")
}

func TestVerdictRunaway(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(i int, s *Step)
		want   bool
	}{
		{"nothing", func(int, *Step) {}, false},
		{"advances on early peaks", func(i int, s *Step) { s.Ordered.Leading, s.Truth.LPP = 59*deg, -5*deg }, true},
		{"advances on late peaks, as it should", func(i int, s *Step) { s.Ordered.Leading, s.Truth.LPP = 60*deg, 20*deg }, false},
		{"early but by less than 3 deg", func(i int, s *Step) { s.Ordered.Leading, s.Truth.LPP = 60*deg, 11.5*deg }, false},
		{"not quite at the limit", func(i int, s *Step) { s.Ordered.Leading, s.Truth.LPP = 58.5*deg, -5*deg }, false},
		{"a hand does it", func(i int, s *Step) { s.Fired.Leading, s.Truth.LPP = 60*deg, -5*deg }, false},
		{"retards on late peaks", func(i int, s *Step) { s.Ordered.Leading, s.Truth.LPP, s.Truth.CA50 = -9.5*deg, 0, 50*deg }, true},
		{"retards on early peaks, as it should", func(i int, s *Step) { s.Ordered.Leading, s.Truth.LPP = -10*deg, 5*deg }, false},
		{"retards into misfires", func(i int, s *Step) { s.Ordered.Leading, s.Truth.Misfire = -10*deg, true }, true},
		{"for one cycle, among good ones", func(i int, s *Step) {
			if i == 60 {
				s.Ordered.Leading, s.Truth.LPP = 60*deg, -5*deg
			}
		}, false},
		{"and comes back", func(i int, s *Step) {
			if i >= 40 && i < 60 {
				s.Ordered.Leading, s.Truth.LPP = 60*deg, -5*deg
			}
		}, true},
	} {
		assert.Equal(t, c.want, byHand(100, c.change).Verdict().Runaway, c.name)
	}
}

func TestVerdictOfNothing(t *testing.T) {
	v := byHand(0, nil).Verdict()
	assert.Empty(t, v.Legs)
	assert.False(t, v.Runaway)
	for _, x := range []float64{v.Settle, v.Hover, v.OffTarget, v.TorqueLost, v.Knocking, v.Declined, v.Authority} {
		assert.True(t, math.IsNaN(x))
	}
}
