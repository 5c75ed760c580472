package loop

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
)

// controlled is a scenario of e to make a battery of.
func controlled(e *model.Engine, signal reader.Signal) *Scenario {
	return &Scenario{Engine: e, Cycles: 100, Legs: []Leg{{Operating: e.Point, Target: 14 * deg, Manual: 3 * deg}}, Actuator: UsualActuator(),
		Sensing: Sensing{Signal: signal, Reader: "maximum", Faults: []sensor.Fault{{Name: "tdc-offset", Severity: 1, To: -1}}},
		Law:     Law{Name: "integral", Mode: Free}}
}

func TestBatteryOfEveryEngine(t *testing.T) {
	for _, name := range model.Names() {
		e, err := model.Load(name)
		require.NoError(t, err)
		s := controlled(e, reader.Ion)
		seen := map[string]bool{}
		places := map[[2]float64]bool{}
		for _, b := range Battery(s) {
			assert.NoError(t, b.Check(), "%s: %s", name, b.Name)
			assert.NotEmpty(t, About(b.Name), b.Name)
			assert.False(t, seen[b.Name], b.Name)
			seen[b.Name] = true
			assert.True(t, b.Cycles >= 400 && b.Cycles <= 800, b.Name)
			assert.LessOrEqual(t, len(b.Sensing.Faults), 1, "faults of the controller's own scenario do not count")
			for i := range b.Legs {
				assert.LessOrEqual(t, b.Legs[i].Over, 150, b.Name)
				assert.Less(t, b.Legs[i].Cycle+b.Legs[i].Over, b.Cycles, b.Name)
			}
			assert.Zero(t, b.Legs[0].Manual, b.Name)
			if len(b.Legs) == 1 && len(b.Sensing.Faults) == 0 {
				places[[2]float64{b.Legs[0].Operating.Speed, b.Legs[0].Operating.MAP}] = true
			}
			_, err := sensor.New(e, b.Setup(), 1)
			assert.NoError(t, err, b.Name)
		}
		assert.GreaterOrEqual(t, len(places), 3*2+2, "the grid, idle and full load")
		assert.Equal(t, 3*deg, s.Legs[0].Manual, "what it is made of stays")
		assert.Len(t, s.Sensing.Faults, 1)
	}
	assert.Empty(t, About("nothing"))
}

// A battery has a fault for every instrument that is fitted, and no other.
func TestBatteryFaults(t *testing.T) {
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	two := *e
	two.Burn.Plugs, two.Point.Split = 2, 5*deg
	for _, c := range []struct {
		s    *Scenario
		want []string // instruments
	}{
		{controlled(e, reader.Pressure), []string{"pressure", "crank"}},
		{controlled(e, reader.Ion), []string{"ion", "crank"}},
		{func() *Scenario {
			s := controlled(&two, reader.Ion)
			s.Sensing.Pressure, s.Sensing.Knock = true, true
			return s
		}(), []string{"pressure", "ion", "trailing", "crank", "knock"}},
	} {
		var want, got []string
		for _, k := range sensor.Kinds() {
			for _, w := range c.want {
				if w == k.Instrument {
					want = append(want, k.Name)
				}
			}
		}
		for _, b := range Battery(c.s) {
			for _, f := range b.Sensing.Faults {
				got = append(got, f.Name)
				assert.Equal(t, []int{200, 400}, []int{f.From, f.To})
				assert.Equal(t, "fault-"+f.Name, b.Name)
			}
		}
		assert.Equal(t, want, got)
	}
}

func TestBatteryFarStarts(t *testing.T) {
	e, err := model.Load("pump-set") // its spark is 22 deg
	require.NoError(t, err)
	spark := func(s *Scenario, name string) float64 {
		for _, b := range Battery(s) {
			if b.Name == name {
				return b.Legs[0].Operating.Spark / deg
			}
		}
		return 0
	}
	s := controlled(e, reader.Ion)
	assert.InDelta(t, 42, spark(s, "start-advanced"), rounding*100)
	assert.InDelta(t, 2, spark(s, "start-retarded"), rounding*100)
	s.Actuator.Most = 40 * deg
	assert.InDelta(t, 40, spark(s, "start-advanced"), rounding*100, "no farther than the actuator goes")
	s.Base.Table = &control.Table{Speeds: []float64{1}, MAPs: []float64{1}, Spark: [][]float64{{15 * deg}}}
	assert.InDelta(t, 35, spark(s, "start-advanced"), rounding*100, "from the table")
}
