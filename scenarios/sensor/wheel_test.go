package sensor

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/stream"
)

// decode finds the gaps in edge times and where the teeth after them are: an
// interval that is longer than both its neighbours by more than half.
func decode(edges []float64) (first []int) {
	for k := 2; k < len(edges)-1; k++ {
		gap, before, after := edges[k]-edges[k-1], edges[k-1]-edges[k-2], edges[k+1]-edges[k]
		if gap > 1.5*before && gap > 1.5*after {
			first = append(first, k)
		}
	}
	return first
}

// From tooth times alone: one gap a turn, and the time of dead centre between the
// teeth nearest to it, within the jitter of two edges (four sd) and what a speed
// taken as constant over one pitch costs.
func TestWheelIsDecoded(t *testing.T) {
	e := pumpSet(t)
	c := solved(t, e, partLoad)
	c.Clock.Ripple, c.Clock.RippleAt = 0.02, -30*deg
	for _, w := range []Wheel{
		{Teeth: 36, Missing: 1, First: -90 * deg, Jitter: 0.02 * deg},
		{Teeth: 60, Missing: 2, First: -114 * deg, Jitter: 0.05 * deg},
	} {
		t.Run(fmt.Sprintf("%d-%d", w.Teeth, w.Missing), func(t *testing.T) {
			for _, offset := range []float64{0, 1.5} {
				set := Setup{Wheel: &w}
				if offset != 0 {
					set.Faults = []Fault{{Name: "tdc-offset", To: -1, Severity: offset}}
				}
				edges := take(t, e, set, c)["tooth_us"]
				require.Len(t, edges, 2*(w.Teeth-w.Missing))
				first := decode(edges)
				require.Len(t, first, 2)
				require.Equal(t, w.Teeth-w.Missing, first[1]-first[0])
				// The second of the two gaps lies before firing dead centre, which is
				// so many pitches on.
				pitches := -w.First / w.pitch()
				k := first[0]
				if c.Clock.Time(w.First) > edges[first[0]]+1000 {
					k = first[1]
				}
				i := k + int(math.Floor(pitches))
				u := pitches - math.Floor(pitches)
				dead := edges[i] + u*(edges[i+1]-edges[i])
				got := c.Clock.Angle(dead*usec) / deg
				require.InDelta(t, -offset, got, 4*w.Jitter/deg*math.Sqrt2+0.01)
			}
		})
	}
}

func TestLostAndExtraTeeth(t *testing.T) {
	e := pumpSet(t)
	c := solved(t, e, partLoad)
	for text, count := range map[string]int{"missing-tooth=3": 67, "extra-tooth=2": 72, "dead-wheel": 0} {
		f, err := ParseFault(text)
		require.NoError(t, err)
		edges := take(t, e, Setup{Wheel: UsualWheel(), Faults: []Fault{f}}, c)["tooth_us"]
		require.Len(t, edges, count)
		require.IsIncreasing(t, append([]float64{-1}, append(edges, 1e9)...))
	}
}

// The cam rises once in two turns, and tells them apart: before firing dead centre.
func TestCam(t *testing.T) {
	e := pumpSet(t)
	c := solved(t, e, partLoad)
	edges := take(t, e, Setup{Cam: true}, c)["cam_us"]
	require.Len(t, edges, 1)
	require.InDelta(t, -60, c.Clock.Angle(edges[0]*usec)/deg, 1e-3) // float32 of 30 000 us
}

// In time base the waves rise where the edges are, to one sample: over three cycles
// as many rising edges as teeth.
func TestWaves(t *testing.T) {
	e := pumpSet(t)
	c := solved(t, e, partLoad)
	w := Wheel{Teeth: 60, Missing: 2, First: -113 * deg}
	timed, err := New(e, Setup{Sampling: Sampling{200e3}, Wheel: &w, Cam: true}, 1)
	require.NoError(t, err)
	edges := take(t, e, Setup{Wheel: &w}, c)["tooth_us"]
	before := 0.
	for n := range 3 {
		c.Number = n
		var rec Record
		require.NoError(t, timed.Take(c, &rec))
		x := named(timed, &rec)
		var rises []float64
		cams := 0
		for i, v := range x["wheel_v"] {
			if v > before {
				rises = append(rises, x["time_us"][i])
			}
			if i > 0 && x["cam_v"][i] > x["cam_v"][i-1] {
				cams++
			}
			before = v
		}
		require.Equal(t, 1, cams)
		require.Len(t, rises, len(edges))
		for i := range rises {
			require.True(t, rises[i] >= edges[i]-0.01 && rises[i] <= edges[i]+5.01, "%g and %g us", rises[i], edges[i])
		}
	}
}

// The same tooth errors are no worse for a cycle of another speed.
func TestJitterIsOfAngle(t *testing.T) {
	e := pumpSet(t)
	c := solved(t, e, partLoad)
	w := Wheel{Teeth: 36, Missing: 1, First: -85 * deg, Jitter: 0.3 * deg}
	for _, speed := range []float64{100, 300} {
		c.Clock = stream.Clock{Speed: speed, Start: c.Theta[0]}
		sq, n := 0., 0.
		for k := range 50 {
			c.Number = k
			a, b := take(t, e, Setup{Wheel: &w}, c)["tooth_us"], take(t, e, Setup{Wheel: &Wheel{Teeth: 36, Missing: 1, First: w.First}}, c)["tooth_us"]
			for i := range a {
				d := (a[i] - b[i]) * usec * speed / deg
				sq, n = sq+d*d, n+1
			}
		}
		require.InEpsilon(t, 0.3, math.Sqrt(sq/n), 0.05) // 3500 edges: 1.2 %, four of which
	}
}
