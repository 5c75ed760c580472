package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Of an invented population: work falls off its maximum by bend, relative [1/deg²].
const vertexBend = 5.5e-4

// varying returns a plant whose work is greatest with the peak at 18 deg, while 15 is
// the target. Cycles release more net heat by a share of heat for 1 deg earlier than the mean. Of
// that a share counts as work. Work scatters by 1 % besides.
func varying(seed uint64, start, bend, heat, counts float64) *phasePlant {
	p := phasing(seed, 2.5, start)
	p.after = func(p *phasePlant, scatter float64) {
		off := p.seen.Single.Angle/deg - 18
		more := -heat * scatter / deg
		p.seen.Heat = 600 * (1 + more)
		p.seen.IMEP = 7e5 * (1 + counts*more) * (1 - bend*off*off) * (1 + 0.01*p.r.NormFloat64())
	}
	return p
}

// rests returns where the mean peak [deg] comes to rest under the law vertex.
func rests(t *testing.T, p *phasePlant, corrected float64) float64 {
	mean, _ := p.settled(usual(t, vertexKind, map[string]float64{"corrected": corrected}), 4000, 40_000)
	return (15 + 0.75*25) - 0.75*mean
}

// With no heat bias both come to rest at the vertex, from either side. Where cycles
// that burn early release 0.2 % more net heat for each deg, which works, the plain
// vertex is early by 0.002/(2·bend) = 1.82 deg, and the corrected one right. 0.4 deg for the
// draws and the cubic term.
func TestVertexHeatBias(t *testing.T) {
	for _, start := range []float64{15, 32} {
		require.InDelta(t, 18, rests(t, varying(1, start, vertexBend, 0, 1), 0), 0.4)
		require.InDelta(t, 18, rests(t, varying(2, start, vertexBend, 0, 1), 1), 0.4)
	}
	plain, corrected := rests(t, varying(3, 25, vertexBend, 0.002, 1), 0), rests(t, varying(3, 25, vertexBend, 0.002, 1), 1)
	t.Logf("plain %.2f, corrected %.2f deg, vertex 18 deg", plain, corrected)
	require.InDelta(t, 18-0.002/(2*vertexBend), plain, 0.4)
	require.InDelta(t, 18, corrected, 0.4)
}

// Where instead late cycles have more net heat because the walls took less of it, and it
// is not worked with, the plain vertex is right and the correction over-advances, by
// the same 1.82 deg.
func TestVertexWallHeat(t *testing.T) {
	plain, corrected := rests(t, varying(4, 25, vertexBend, -0.002, 0), 0), rests(t, varying(4, 25, vertexBend, -0.002, 0), 1)
	t.Logf("plain %.2f, corrected %.2f deg, vertex 18 deg", plain, corrected)
	require.InDelta(t, 18, plain, 0.4)
	require.InDelta(t, 18-0.002/(2*vertexBend), corrected, 0.4)
}

// A population without a vertex, flat or bent up, goes for the target, and never far
// from it: 6 deg of spark are 4.5 deg of the peak.
func TestVertexDoesNotRunAway(t *testing.T) {
	for _, bend := range []float64{0, -vertexBend} {
		for _, corrected := range []float64{0, 1} {
			p := varying(5, 25, bend, 0, 1)
			law := usual(t, vertexKind, map[string]float64{"corrected": corrected})
			sum := 0.
			const n = 20_000
			for range n {
				s := p.step(law) / deg
				require.InDelta(t, 25, s, 6, "bend %g, corrected %g", bend, corrected)
				sum += s / n
			}
			require.InDelta(t, 25, sum, 0.5, "bend %g, corrected %g", bend, corrected)
		}
	}
}

// An exact parabola has its vertex found to rounding where readings reach to it, and
// from afar no farther than two standard deviations from their mean: readings spread
// evenly over ±4 deg; n whole numbers in a row have the variance n·(n+1)/12.
func TestVertexOfParabola(t *testing.T) {
	for _, c := range []struct{ mean, want float64 }{{15, 18}, {20, 18}, {30, 30 - 2*math.Sqrt(81*82.0/12)/10}} {
		law := usual(t, vertexKind, map[string]float64{"cycles": 81}).(*vertex)
		for i := range 81 {
			at := c.mean + float64(i-40)/10
			law.recent.add(phased{at * deg, 7e5 * (1 - vertexBend*(at-18)*(at-18))})
		}
		at, ok := law.find()
		require.True(t, ok)
		require.InDelta(t, c.want, at/deg, 1e-6)
	}
}

// Another load begins the window anew: until half of it is full the target is asked for.
func TestVertexBeginsAnew(t *testing.T) {
	law := usual(t, vertexKind, nil).(*vertex)
	p := varying(6, 21, vertexBend, 0, 1)
	for range 3000 {
		p.step(law)
	}
	at, ok := law.find()
	require.True(t, ok)
	require.InDelta(t, 18, at/deg, 2)
	for _, change := range []func(){func() { p.seen.MAP *= 1.12 }, func() { p.seen.Speed *= 0.88 }} {
		change()
		for range 99 {
			p.step(law)
		}
		require.Len(t, law.recent.all, 99)
		_, ok = law.find()
		require.False(t, ok)
	}
	p.seen.MAP *= 1.05
	p.step(law)
	require.Len(t, law.recent.all, 100)
	require.False(t, math.IsNaN(p.seen.Ordered.Leading))
}
