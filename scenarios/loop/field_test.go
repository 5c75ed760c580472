package loop

import (
	flags "flag"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"phasebench/model/accuracy"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// The whole table takes about ten minutes of two cores:
//
//	go test ./scenarios/loop -run 'TestField$' -field -v -timeout 60m
var wholeField = flags.Bool("field", false, "run every law and reader over speeds and loads, and log what torque they lose")

// publishedLoss is the mean brake power lost against the optimum over the map of a
// laboratory single [%], where transients settled in 0.1 s: Hubbard, Dobson and Powell,
// ASME JDSMC 98(4) 414, 1976 (seen in the abstract only).
const publishedLoss = 0.1

// tuned is a law with its numbers and what it looks through.
type tuned struct {
	law     string
	numbers map[string]float64 // those that are not usual
	reader  string
	earlier float64 // of the law table: how much earlier than MBT in dry air it fires [rad]
}

func (c tuned) String() string {
	text := c.law
	if gain, ok := c.numbers["gain"]; ok {
		text += fmt.Sprintf(" %g", gain)
	}
	if c.law == "table" {
		text += fmt.Sprintf(" MBT%+g deg", c.earlier/deg)
	}
	return text + ", " + c.reader
}

// spot is an operating point of the pump set made ready, with MBT of its mean cycle.
type spot struct {
	speed, mapKPa float64
	mbt           sweep.Point
	bench         *Bench
}

// spotAt begins 10 deg later than MBT; later legs have the humidity given, in turns of
// 400 cycles. No envelope: the points are known, and the guard is else as usual.
func spotAt(t *testing.T, speedRPM, mapKPa float64, cycles int, humidity ...float64) *spot {
	t.Helper()
	e, err := theEngine()
	require.NoError(t, err)
	solver, err := solve.New(e, nil)
	require.NoError(t, err)
	s := Usual(e)
	s.Cycles, s.Guard = cycles, control.GuardSettings{}
	s.Sensing.Signal, s.Sensing.Reader = reader.Pressure, "smoothed"
	op := &s.Legs[0].Operating
	op.Speed, op.MAP = speedRPM*rpm, mapKPa*1e3
	p := &spot{speed: speedRPM, mapKPa: mapKPa}
	p.mbt, err = sweep.MBT(t.Context(), solver, *op)
	require.NoError(t, err)
	op.Spark = p.mbt.Operating.Spark - 10*deg
	s.Base.Table = p.mapOf(-s.Base.Retard)
	for i, water := range humidity {
		l := s.Legs[0]
		l.Cycle, l.Operating.Humidity = 400*(i+1), water
		s.Legs = append(s.Legs, l)
	}
	p.bench, err = NewBench(t.Context(), &s)
	require.NoError(t, err)
	return p
}

// mapOf is a base map that is earlier than MBT [rad].
func (p *spot) mapOf(earlier float64) *control.Table {
	op := &p.mbt.Operating
	return &control.Table{Speeds: []float64{op.Speed}, MAPs: []float64{op.MAP}, Spark: [][]float64{{op.Spark + earlier}}}
}

// run returns the verdicts of c by seed, from firstSeed on.
func (p *spot) run(t *testing.T, c tuned, seeds int) []Verdict {
	t.Helper()
	b, s := *p.bench, *p.bench.Scenario
	b.Scenario = &s
	s.Law = Law{Name: c.law, Mode: Free, Numbers: c.numbers}
	s.Sensing.Reader = c.reader
	if c.reader == "tracker" {
		s.Sensing.Signal = reader.Ion
	}
	if c.law == "table" {
		b.Base = p.mapOf(c.earlier)
		s.Legs = slices.Clone(s.Legs)
		s.Legs[0].Operating.Spark = b.Base.Spark[0][0]
	}
	var all []Verdict
	for seed := range uint64(seeds) {
		r, err := b.Run(t.Context(), firstSeed+seed, nil)
		require.NoError(t, err)
		all = append(all, r.Verdict())
	}
	return all
}

// each returns a number of every verdict, NaN where it has none.
func each(all []Verdict, of func(v *Verdict) float64) []float64 {
	var out []float64
	for i := range all {
		out = append(out, of(&all[i]))
	}
	return out
}

// Numbers of a verdict as the tables here have them.
func settledLoss(v *Verdict) float64  { return 100 * v.TorqueLostSettled } // [%]
func settleCycles(v *Verdict) float64 { return v.Settle }
func settleTime(v *Verdict) float64   { return v.SettleTime } // [s]
func hover(v *Verdict) float64        { return v.Hover / deg }
func offTarget(v *Verdict) float64    { return v.OffTarget / deg }

// numbersOf returns those of all that are numbers.
func numbersOf(all []float64) []float64 { return slices.DeleteFunc(slices.Clone(all), math.IsNaN) }

// overPoints returns for every seed the mean of a number over points, of those that
// have it.
func overPoints(points [][]Verdict, of func(v *Verdict) float64) []float64 {
	var out []float64
	for k := range points[0] {
		var some []float64
		for _, all := range points {
			some = append(some, of(&all[k]))
		}
		out = append(out, stat.Mean(numbersOf(some), nil))
	}
	return out
}

// less is a−b, pair by pair.
func less(a, b []float64) []float64 {
	var out []float64
	for i := range a {
		out = append(out, a[i]-b[i])
	}
	return out
}

// median is of those that are numbers. Times to settle have long tails: where the spark
// hovers, a mean of 20 cycles strays by 2 deg now and then.
func median(all []float64) float64 {
	if all = numbersOf(all); len(all) == 0 {
		return math.NaN()
	}
	slices.Sort(all)
	return stat.Quantile(0.5, stat.Empirical, all, nil)
}

// told writes a mean with its 95 % interval over seeds.
func told(all []float64) string {
	d := interval(numbersOf(all))
	return fmt.Sprintf("%.3f (%.3f to %.3f)", d.Mean, d.Low, d.High)
}

// overField runs all controllers at all points, [rpm] by [kPa], and returns verdicts by
// controller, point and seed.
func overField(t *testing.T, speeds, maps []float64, all []tuned, cycles, seeds int) (points []*spot, of [][][]Verdict) {
	n := len(speeds) * len(maps)
	points, of = make([]*spot, n), make([][][]Verdict, len(all))
	for i := range of {
		of[i] = make([][]Verdict, n)
	}
	t.Run("points", func(t *testing.T) {
		for k := range n {
			speed, mapKPa := speeds[k/len(maps)], maps[k%len(maps)]
			t.Run(fmt.Sprintf("%g rpm %g kPa", speed, mapKPa), func(t *testing.T) {
				t.Parallel()
				points[k] = spotAt(t, speed, mapKPa, cycles)
				for i, c := range all {
					of[i][k] = points[k].run(t, c, seeds)
				}
				points[k].bench = nil // its surface is large
			})
		}
	})
	require.False(t, t.Failed())
	return points, of
}

// Seeds of the tables. The usual gains of scheduled-target and adaptive were chosen with
// seeds 1 to 8, out of four and three: these are others.
const (
	firstSeed  = 101
	fieldSeeds = 8
)

var (
	scheduledTarget = tuned{law: "scheduled-target", reader: "smoothed"}
	constantTarget  = tuned{law: "integral", reader: "smoothed"}
)

// At low and high speed, light and high load the law scheduled-target, whose schedule was
// fitted to this very engine, loses no more torque than published, and less in the mean than a
// constant target of 15 deg, which is not shown to do as well where LPP at MBT is 14 deg. It is
// far from settling as fast. Torque lost is against MBT of the mean cycle; of cycles that
// vary another fixed spark is better, by less than 0.01 % at these points (see TestField).
func TestFieldCorners(t *testing.T) {
	loss, mean, settle := accuracy.Find(t, "loop-loss"), accuracy.Find(t, "loop-loss-mean"), accuracy.Find(t, "loop-settle")
	points, of := overField(t, []float64{1500, 3000}, []float64{45, 95}, []tuned{scheduledTarget, constantTarget}, 600, fieldSeeds)
	for k, p := range points {
		for i, c := range []tuned{scheduledTarget, constantTarget} {
			v := of[i][k]
			t.Logf("%g rpm, %g kPa, %v: %s %% lost, settled after %.0f cycles, %.1f s (medians)", p.speed, p.mapKPa, c, told(each(v, settledLoss)), median(each(v, settleCycles)), median(each(v, settleTime)))
		}
		d := interval(each(of[0][k], settledLoss)) // NaN, and so not less, if a run never settles
		loss.Hold(t, d.High, "%g rpm, %g kPa", p.speed, p.mapKPa)
		settle.Hold(t, slices.Min(each(of[0][k], settleTime)), "%g rpm, %g kPa: if it settles as fast as published, say so", p.speed, p.mapKPa)
		for _, v := range of[0][k] {
			assert.False(t, v.Runaway)
		}
	}
	own, constant := overPoints(of[0], settledLoss), overPoints(of[1], settledLoss)
	t.Logf("mean of the corners: %v %s %%, %v %s %%, which is %s %% more", scheduledTarget, told(own), constantTarget, told(constant), told(less(constant, own)))
	mean.Hold(t, interval(own).High, "%v", scheduledTarget)
	more := interval(less(constant, own))
	assert.Positive(t, more.Low)
	fast := interval(each(of[1][2], settledLoss)) // 3000 rpm, 45 kPa
	assert.Greater(t, fast.High, publishedLoss, "if a constant target does as well there, say so")
}

// wet is 15 g/kg of water in the intake air.
const wet = 0.015

// humid runs all controllers through 400 dry, 400 wet and 400 dry cycles and returns
// torque lost [%] by controller, leg and seed.
func humid(t *testing.T, speedRPM, mapKPa float64, all []tuned, seeds int) (out [][3][]float64) {
	p := spotAt(t, speedRPM, mapKPa, 1200, wet, 0)
	for _, c := range all {
		v := p.run(t, c, seeds)
		var legs [3][]float64
		for i := range legs {
			legs[i] = each(v, func(v *Verdict) float64 { return 100 * v.Legs[i].TorqueLost })
		}
		out = append(out, legs)
	}
	return out
}

// When the intake air takes up 15 g/kg of water, the closed loop loses less torque than
// the best fixed map, MBT in dry air; back in dry air it loses more, what the readings' scatter costs.
func TestFieldHumidity(t *testing.T) {
	fixed := tuned{law: "table", reader: "smoothed"}
	lost := humid(t, 2200, 80, []tuned{scheduledTarget, fixed}, fieldSeeds+2)
	for i, c := range []tuned{scheduledTarget, fixed} {
		t.Logf("%v: wet %s %%, dry again %s %%", c, told(lost[i][1]), told(lost[i][2]))
	}
	gains, costs := interval(less(lost[1][1], lost[0][1])), interval(less(lost[0][2], lost[1][2]))
	t.Logf("the loop gains %.3f (%.3f to %.3f) %% in wet air", gains.Mean, gains.Low, gains.High)
	assert.Positive(t, gains.Low)
	assert.Positive(t, costs.Low)
}

// TestField logs the tables of which the other tests here assert a part.
func TestField(t *testing.T) {
	if !*wholeField {
		t.Skip("takes long: -field")
	}
	t.Run("map", fieldMap)
	t.Run("humidity", fieldHumidity)
	t.Run("idle", fieldIdle)
	t.Run("vertex", fieldVertex)
}

func fieldMap(t *testing.T) {
	all := []tuned{scheduledTarget, constantTarget}
	for _, r := range []string{"parabola", "ca50", "tracker"} {
		all = append(all, tuned{law: scheduledTarget.law, reader: r}, tuned{law: constantTarget.law, reader: r})
	}
	for _, gain := range []float64{0.02, 0.05} {
		all = append(all, tuned{law: constantTarget.law, numbers: map[string]float64{"gain": gain}, reader: "smoothed"})
	}
	for _, gain := range []float64{0.1} {
		all = append(all, tuned{law: scheduledTarget.law, numbers: map[string]float64{"gain": gain}, reader: "smoothed"})
	}
	all = append(all, tuned{law: "adaptive", reader: "smoothed"}, tuned{law: "proportional-integral", reader: "smoothed"})
	fixed := len(all)
	for _, earlier := range []float64{-3, 0, 3} {
		all = append(all, tuned{law: "table", reader: "smoothed", earlier: earlier * deg})
	}
	points, of := overField(t, []float64{1500, 2200, 3000}, []float64{45, 60, 80, 95}, all, 600, fieldSeeds)
	loss := func(i, k int) float64 { return stat.Mean(numbersOf(each(of[i][k], settledLoss)), nil) }
	for i, c := range all {
		worst, unsettled := 0, 0
		var runs []Verdict
		for k := range points {
			if loss(i, k) > loss(i, worst) {
				worst = k
			}
			for _, v := range of[i][k] {
				unsettled += v.Unsettled
			}
			runs = append(runs, of[i][k]...)
		}
		p, own := points[worst], overPoints(of[i], settledLoss)
		t.Logf("%v: mean of the map %s %% lost, %s more than the first; worst %s at %g rpm, %g kPa; settled after %.0f cycles, %.1f s (medians); spark sd %.2f deg; %d of %d unsettled",
			c, told(own), told(less(own, overPoints(of[0], settledLoss))), told(each(of[i][worst], settledLoss)), p.speed, p.mapKPa,
			median(each(runs, settleCycles)), median(each(runs, settleTime)), median(each(runs, hover)), unsettled, len(runs))
	}
	for k, p := range points {
		// The parabola through fixed sparks 3 deg to either side of MBT.
		late, at, early := loss(fixed, k), loss(fixed+1, k), loss(fixed+2, k)
		slope, bend := (early-late)/6, (early+late-2*at)/18
		t.Logf("%g rpm, %g kPa: MBT %.1f deg, its LPP %.2f deg; best fixed spark %+.2f deg from it, %.3f %% better; lost by scheduled-target %s %%, peak %.2f deg after 15; by integral %s %%",
			p.speed, p.mapKPa, p.mbt.Operating.Spark/deg, p.mbt.LPP/deg, -slope/(2*bend), slope*slope/(4*bend), told(each(of[0][k], settledLoss)),
			median(each(of[0][k], offTarget)), told(each(of[1][k], settledLoss)))
	}
}

func fieldHumidity(t *testing.T) {
	fixed := tuned{law: "table", reader: "smoothed"}
	behind := fixed
	behind.earlier = -3 * deg
	for _, mapKPa := range []float64{80, 45} {
		all := []tuned{fixed, behind, scheduledTarget, constantTarget, {law: constantTarget.law, numbers: map[string]float64{"gain": 0.05}, reader: "smoothed"}, {law: constantTarget.law, reader: "tracker"}}
		lost := humid(t, 2200, mapKPa, all, fieldSeeds+2)
		for i, c := range all {
			t.Logf("%g kPa, %v: wet %s %%, %s less than the first; dry again %s %%", mapKPa, c, told(lost[i][1]), told(less(lost[0][1], lost[i][1])), told(lost[i][2]))
		}
	}
}

// afterStart is torque lost [%] from cycle 400 on, whether it settles or not.
func afterStart(v *Verdict) float64 { return 100 * v.Legs[1].TorqueLost }

func fieldIdle(t *testing.T) {
	p := spotAt(t, 900, 32, 1400, 0)
	t.Logf("MBT %.2f deg, its LPP %.2f deg", p.mbt.Operating.Spark/deg, p.mbt.LPP/deg)
	for _, c := range []tuned{
		{law: "table", reader: "smoothed", earlier: -3 * deg}, {law: "table", reader: "smoothed"}, {law: "table", reader: "smoothed", earlier: 3 * deg},
		scheduledTarget, constantTarget, {law: constantTarget.law, numbers: map[string]float64{"gain": 0.02}, reader: "smoothed"},
		{law: scheduledTarget.law, reader: "tracker"}, {law: constantTarget.law, reader: "tracker"},
	} {
		v := p.run(t, c, fieldSeeds)
		unsettled := 0
		for i := range v {
			unsettled += int(flag(v[i].Unsettled > 0))
		}
		share := func(of func(*Verdict) int) float64 {
			return stat.Mean(each(v, func(v *Verdict) float64 { return 100 * float64(of(v)) / float64(v.Last-v.First) }), nil)
		}
		t.Logf("%v: %s %% lost after the start; spark sd %.2f deg, peak %s deg after its target; %d of %d do not settle; %.1f %% declined, %.1f %% on or towards the base map, %.1f %% misfire",
			c, told(each(v, afterStart)), median(each(v, hover)), told(each(v, offTarget)), unsettled, len(v),
			100*stat.Mean(each(v, func(v *Verdict) float64 { return v.Declined }), nil), share(func(v *Verdict) int { return v.Fallback }), share(func(v *Verdict) int { return v.Misfires }))
	}
}

// With and without its correction.
func fieldVertex(t *testing.T) {
	for _, at := range [][2]float64{{2200, 80}, {3000, 50}, {1500, 60}} {
		p := spotAt(t, at[0], at[1], 3400, 0)
		for _, corrected := range []float64{0, 1} {
			v := p.run(t, tuned{law: "vertex", numbers: map[string]float64{"corrected": corrected}, reader: "smoothed"}, fieldSeeds)
			t.Logf("%g rpm, %g kPa, corrected %g: %s %% lost after the start, peak %s deg after 15", at[0], at[1], corrected, told(each(v, afterStart)), told(each(v, offTarget)))
		}
	}
}
