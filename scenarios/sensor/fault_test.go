package sensor

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/stream"
)

func TestParseFault(t *testing.T) {
	for text, want := range map[string]Fault{
		"tdc-offset=1":         {"tdc-offset", 0, -1, 1},
		"tdc-offset=-1.5":      {"tdc-offset", 0, -1, -1.5},
		"tdc-offset=1@100-200": {"tdc-offset", 100, 200, 1},
		"noise=0.2@50-":        {"noise", 50, -1, 0.2},
		"dead-ion@7-8":         {"dead-ion", 7, 8, 1},
		"fouling":              {"fouling", 0, -1, 10},
	} {
		got, err := ParseFault(text)
		require.NoError(t, err, text)
		require.Equal(t, want, got, text)
	}
	for text, part := range map[string]string{
		"":                   "sensitivity, offset,",
		"nois=1":             "one of sensitivity, offset,",
		"noise=":             "a number after =",
		"noise=much":         "a number after =",
		"noise=9":            "noise=9: want 0.001 to 5 bar",
		"noise=NaN":          "want 0.001 to 5 bar",
		"noise=1@5":          "cycles such as @100-200 or @50-",
		"noise=1@x-5":        "cycles such as @100-200 or @50-",
		"noise=1@5-y":        "cycles such as @100-200 or @50-",
		"noise=1@5--9":       "cycles such as @100-200 or @50-",
		"noise=1@5-5":        "cycles from 0 or more to a later one",
		"dead-ion=0.5":       "want 1 to 1",
		"tdc-offset=1@9-5":   "cycles from 0 or more to a later one",
		"tdc-offset = 1":     "one of",
		"coarse-adc=3@0-100": "want 4 to 16 bits",
	} {
		_, err := ParseFault(text)
		var p *model.Problem
		require.ErrorAs(t, err, &p, text)
		require.ErrorContains(t, err, part, text)
	}
}

// Whatever is read is in range, and reads the same again as it is written.
func FuzzParseFault(f *testing.F) {
	for _, text := range []string{"noise", "noise=0.2@50-", "tdc-offset=-1e0@1-2", "dead-cam@0-", "x", "=@-", "lag=1e3"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		a, err := ParseFault(text)
		if err != nil {
			return
		}
		_, err = a.check()
		require.NoError(t, err)
		b, err := ParseFault(a.String())
		require.NoError(t, err)
		require.Equal(t, a, b)
	})
}

func TestKindsAreInOrder(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range Kinds() {
		require.False(t, seen[k.Name], k.Name)
		seen[k.Name] = true
		require.NotContains(t, k.Name, "=")
		require.True(t, k.Low <= k.Typical && k.Typical <= k.High, k.Name)
		require.NotEmpty(t, k.About, k.Name)
		f, err := ParseFault(k.Name)
		require.NoError(t, err)
		require.Equal(t, k.Typical, f.Severity)
	}
}

// complete returns a two-plug engine and a setup with every instrument fitted, so
// that each fault has something to spoil; the window takes in closing valves.
func complete(t testing.TB) (*model.Engine, Setup) {
	e := pumpSet(t)
	e.Burn.Plugs = 2
	set := Usual(e)
	set.Trailing, set.Cam, set.Knock = UsualIon(), true, UsualAccelerometer()
	set.Knock.From, set.Knock.To = -150*deg, 90*deg
	return e, set
}

// spoils tells which channels a fault changes, by instrument.
var spoils = map[string][]string{
	onPressure: {"pressure_bar"},
	onIon:      {"ion_ua"},
	onTrailing: {"ion_trailing_ua"},
	onCrank:    {"pressure_bar", "ion_ua", "ion_trailing_ua", "tooth_us", "wheel_v"},
	onWheel:    {"tooth_us", "wheel_v"},
	onCam:      {"cam_us", "cam_v"},
	onKnock:    {"knock_v"},
}

// history records cycles 0 to 5 of set.
func history(t *testing.T, e *model.Engine, set Setup, c *stream.Cycle) (*Rig, []map[string][]float64, []float64) {
	r, err := New(e, set, 11)
	require.NoError(t, err)
	var all []map[string][]float64
	var severity []float64
	for n := range 6 {
		c.Number = n
		var rec Record
		require.NoError(t, r.Take(c, &rec))
		all = append(all, named(r, &rec))
		severity = append(severity, rec.Severity...)
	}
	return r, all, severity
}

// Every fault changes the channels of its instrument in cycles 2 and 3, for which
// it is set, and no other channel; nothing before; and nothing after, once filters
// have forgotten it, which takes them less than a cycle. The record tells.
func TestFaults(t *testing.T) {
	for _, rate := range []float64{0, 50e3} {
		e, set := complete(t)
		set.Sampling.RateHz = rate
		c := knocking(t, 0)
		c.Operating.Split = 10 * deg
		_, clean, none := history(t, e, set, c)
		require.Empty(t, none)
		for _, k := range Kinds() {
			if rate > 0 && k.Name == "tdc-offset" {
				continue // in time base it moves the wheel alone: TestOffsetInTime
			}
			t.Run(k.Name, func(t *testing.T) {
				set := set
				set.Faults = []Fault{{k.Name, 2, 4, k.Typical}}
				_, got, severity := history(t, e, set, c)
				require.Equal(t, []float64{0, 0, k.Typical, k.Typical, 0, 0}, severity)
				for n := range got {
					for name, x := range got[n] {
						hit := false
						for _, s := range spoils[k.Instrument] {
							hit = hit || s == name
						}
						switch active := n == 2 || n == 3; {
						case active && hit:
							require.NotEqual(t, clean[n][name], x, "cycle %d, %s", n, name)
						case n == 4 && hit && len(x) == len(clean[n][name]):
							continue // filters and the last tooth may remember
						default:
							require.Equal(t, clean[n][name], x, "cycle %d, %s", n, name)
						}
					}
				}
			})
		}
	}
}

// In time base samples know no angle: an offset moves the wheel alone.
func TestOffsetInTime(t *testing.T) {
	e, set := complete(t)
	set.Sampling.RateHz = 50e3
	c := knocking(t, 0)
	_, clean, _ := history(t, e, set, c)
	set.Faults = []Fault{{"tdc-offset", 2, 4, 1}}
	_, got, _ := history(t, e, set, c)
	for name, x := range got[2] {
		if name == "wheel_v" {
			require.NotEqual(t, clean[2][name], x)
		} else {
			require.Equal(t, clean[2][name], x, name)
		}
	}
}

// A dead instrument delivers nothing but zeros or no edge.
func TestDead(t *testing.T) {
	e, set := complete(t)
	for _, k := range Kinds() {
		if !strings.HasPrefix(k.Name, "dead-") {
			continue
		}
		one := set
		one.Faults = []Fault{{k.Name, 0, -1, 1}}
		for _, name := range spoils[k.Instrument] {
			for _, v := range take(t, e, one, knocking(t, 0))[name] {
				require.Zero(t, v, name)
			}
		}
	}
}

// Numbers of single faults that no other test looks at, on perfect instruments.
func TestSeverity(t *testing.T) {
	e := pumpSet(t)
	c := solved(t, e, fullLoad)
	p := take(t, e, bare(t), c)["pressure_bar"]
	for i, v := range take(t, e, bare(t, "sensitivity=5", "offset=2"), c)["pressure_bar"] {
		require.InEpsilon(t, 1.05*p[i]+2, v, 1e-6)
	}

	ion := func(p *Ion, texts ...string) []float64 {
		return take(t, e, Setup{Ion: p, Faults: bare(t, texts...).Faults}, c)["ion_ua"]
	}
	hot := ion(still(true, false))
	weak, rich, foul := ion(still(true, false), "weak-thermal=80"), ion(still(true, false), "additive=3"), ion(still(true, false), "fouling=10")
	coil := still(true, false)
	coil.Strike, coil.Ringing = 80*uA, 40*uA
	clean, blank, limit := ion(coil), ion(coil, "blanking=3"), ion(still(true, false), "ion-saturation=15")
	fired := c.Clock.Time(-fullLoad.spark * deg)
	for i := range hot {
		require.InDelta(t, 0.2*hot[i], weak[i], 1e-5)
		require.InDelta(t, 3*hot[i], rich[i], 1e-4)
		require.InDelta(t, hot[i]+10, foul[i], 1e-5)
		require.InDelta(t, math.Min(15, hot[i]), limit[i], 1e-5)
		want := clean[i]
		if now := c.Clock.Time(c.Theta[i]) - fired; now >= 0 && now < 3e-3 {
			want = 0
		}
		require.Equal(t, want, blank[i])
	}
}
