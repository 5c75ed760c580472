package chart

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"
)

// hump is a plausible pressure [Pa] at t [deg]: compression to 14 bar and a
// burn whose own peak is at at [deg].
func hump(t, at, height float64) float64 {
	return 1e5 * (1 + 13*math.Exp(-t*t/(2*24*24)) + height*math.Exp(-(t-at)*(t-at)/(2*18*18)))
}

// sampleRagged makes n cycles of 720 samples, every misfire-th of which does
// not light (0: none), and overlays the first drawn of them.
func sampleRagged(n, drawn, misfire int) *Ragged {
	rnd := rand.New(rand.NewPCG(7, 1))
	r := &Ragged{Spark: 22 * deg}
	const samples = 720
	for k := range samples {
		r.Theta = append(r.Theta, (float64(k)-360)*deg)
		r.IonTheta = append(r.IonTheta, (float64(k)/2-90)*deg)
	}
	r.Mean = make([]float64, samples)
	for i := range n {
		lit := misfire == 0 || i%misfire != misfire-1
		at, height := 18+3.5*rnd.NormFloat64(), 0.
		if lit {
			height = 24 - 0.5*(at-18) + 0.8*rnd.NormFloat64()
		}
		p, ion := make([]float64, samples), make([]float64, samples)
		flame, level := at-20+2*rnd.NormFloat64(), 1+0.3*rnd.NormFloat64()
		lpp, peak := 0., 0.
		for k := range samples {
			t := r.Theta[k] / deg
			p[k] = hump(t, at, height)
			r.Mean[k] += p[k] / float64(n)
			if p[k] > peak {
				lpp, peak = r.Theta[k], p[k]
			}
			u := r.IonTheta[k] / deg
			ion[k] = 0.4e-6 * rnd.NormFloat64()
			if u > -22 && u < -16 {
				ion[k] += 15e-6
			}
			if lit {
				ion[k] += level * (22e-6*math.Exp(-math.Pow((u-flame)/6, 2)) + 9e-6*math.Exp(-math.Pow((u-at-1)/14, 2)))
			}
		}
		if i < drawn {
			r.Pressure, r.Ion = append(r.Pressure, p), append(r.Ion, ion)
		}
		work := 5.4e5 + 0.2e5*rnd.NormFloat64()
		if !lit {
			work = -0.6e5
		}
		r.LPP, r.Peak, r.IMEP, r.Lit = append(r.LPP, lpp), append(r.Peak, peak), append(r.IMEP, work), append(r.Lit, lit)
	}
	return r
}

func TestOverlay(t *testing.T) {
	r := sampleRagged(400, 100, 97)
	c := Overlay(r, "many")
	text := texts(t, write1(t, c, SVG, testMeta))
	for _, want := range []string{"pressure [bar]", "peak pressure [bar]", "angle [deg after TDC]", "−60", "120", "spark",
		"spark 22.0 deg before TDC", "mean of 400 cycles", "1 misfire", "4 misfires"} {
		require.Contains(t, text, want)
	}
	require.Equal(t, 2, len(c.panels))
	require.Equal(t, -60., c.x.min)
	require.Equal(t, 120., c.x.max)

	// What the caption says, by gonum's own functions and by loops.
	var lpp, peak []float64
	for i := range r.LPP {
		if r.Lit[i] {
			lpp, peak = append(lpp, r.LPP[i]*180/math.Pi), append(peak, r.Peak[i]/1e5)
		}
	}
	want := fmt.Sprintf("400 cycles, 100 drawn  ·  LPP %.1f deg, sd %.1f  ·  peak %.1f bar, sd %.1f  ·  IMEP %.2f bar, COV %.1f %%  ·  4 misfires",
		stat.Mean(lpp, nil), stat.StdDev(lpp, nil), stat.Mean(peak, nil), stat.StdDev(peak, nil),
		stat.Mean(r.IMEP, nil)/1e5, 100*stat.StdDev(r.IMEP, nil)/stat.Mean(r.IMEP, nil))
	require.Equal(t, want, c.Subtitle)

	// 99 cycles in one layer and 1 in another, their 100 peaks, and all 400 below.
	require.Equal(t, []int{99, 1}, bundled(&c.panels[0]))
	require.Equal(t, [][2]int{{99, 0}, {0, 1}}, clouded(&c.panels[0]))
	require.Equal(t, [][2]int{{396, 0}, {0, 4}}, clouded(&c.panels[1]))
	lo, hi := span(r.Peak)
	require.Less(t, c.panels[1].y.min, lo/1e5)
	require.Greater(t, c.panels[1].y.max, hi/1e5)
}

// bundled counts the curves in every bundle of p.
func bundled(p *panel) (out []int) {
	for _, l := range p.layers {
		if b, ok := l.(bundle); ok {
			out = append(out, len(b.ys))
		}
	}
	return out
}

// clouded counts the dots and crosses in every cloud of p.
func clouded(p *panel) (out [][2]int) {
	for _, l := range p.layers {
		if c, ok := l.(cloud); ok {
			n := [2]int{len(c.xs), 0}
			if c.cross {
				n = [2]int{0, len(c.xs)}
			}
			out = append(out, n)
		}
	}
	return out
}

// Pictures on a page stay small; the limits are our own choice. Ion current
// with noise on every sample is the hardest to thin.
func TestRaggedSize(t *testing.T) {
	r := sampleRagged(400, 100, 97)
	for name, c := range map[string]*Chart{"overlay": Overlay(r, ""), "ion": IonBeside(r, ""), "return": Return(r, ""), "peaks": Peaks(r, "")} {
		for _, f := range []Format{SVG, PNG, PDF} {
			require.Less(t, len(write1(t, c, f, testMeta)), 1_500_000, "%s %s", name, f)
		}
	}
	require.Less(t, len(write1(t, Overlay(r, ""), SVG, testMeta)), 300_000)
	for _, c := range []*Chart{Overlay(r, ""), IonBeside(r, ""), Return(r, ""), Peaks(r, "")} {
		for _, f := range []Format{SVG, PNG, PDF} {
			require.True(t, bytes.Equal(write1(t, c, f, testMeta), write1(t, c, f, testMeta)), "%s %s", c.About, f)
		}
	}
}

func TestReturn(t *testing.T) {
	// Good follows bad: 5 and 6 bar in turn, correlation -1.
	turns := &Ragged{Spark: math.NaN(), IMEP: []float64{5e5, 6e5, 5e5, 6e5, 5e5, 6e5}}
	c := Return(turns, "")
	require.Contains(t, c.Subtitle, "lag-1 correlation −1.00 of 5 pairs (by chance within ±0.88)") // 1.96/√5
	require.Contains(t, c.Subtitle, "IMEP 5.50 bar, COV 10.0 %")                                   // sd √(6·0.25/5) = 0.548
	require.Equal(t, [][2]int{{5, 0}, {0, 0}}, clouded(&c.panels[0]))

	r := sampleRagged(400, 1, 97)
	c = Return(r, "")
	n := len(r.IMEP)
	all := stat.Correlation(r.IMEP[:n-1], r.IMEP[1:], nil)
	var x, y []float64
	for i := 1; i < n; i++ {
		if r.Lit[i-1] && r.Lit[i] {
			x, y = append(x, r.IMEP[i-1]), append(y, r.IMEP[i])
		}
	}
	require.Contains(t, c.Subtitle, "correlation "+num(all, 2)+" of 399 pairs (by chance within ±0.10), "+num(stat.Correlation(x, y, nil), 2)+" without misfires")
	require.Equal(t, [][2]int{{len(x), 0}, {0, 399 - len(x)}}, clouded(&c.panels[0]))
	text := texts(t, write1(t, c, SVG, testMeta))
	for _, want := range []string{"IMEP [bar]", "IMEP of the cycle before [bar]", "equal", "a misfire, before or now"} {
		require.Contains(t, text, want)
	}
	require.Equal(t, c.x.min, c.panels[0].y.min, "or the diagonal is none")
	require.Equal(t, c.x.max, c.panels[0].y.max)

	// A gap breaks two pairs; three are too few to tell.
	require.Contains(t, Return(&Ragged{IMEP: []float64{5e5, math.NaN(), 6e5, 5e5}}, "").Subtitle, "none of 1 pair")
}

func TestIonBeside(t *testing.T) {
	r := sampleRagged(40, 20, 10)
	c := IonBeside(r, "")
	text := texts(t, write1(t, c, SVG, testMeta))
	lpp := stat.Mean(r.pick(r.LPP, true), nil) * 180 / math.Pi
	for _, want := range []string{"ion current [µA]", "pressure [bar]", "spark", "mean LPP " + num(lpp, 1) + " deg",
		"mean of the 18 lit cycles drawn", "2 misfires", "mean of 40 cycles"} {
		require.Contains(t, text, want)
	}
	require.Equal(t, []int{18, 2}, bundled(&c.panels[0]))
	require.Equal(t, []int{18, 2}, bundled(&c.panels[1]))
	for _, p := range c.panels { // in both, at the same places
		var at []float64
		for _, l := range p.layers {
			if m, ok := l.(rule); ok {
				at = append(at, m.x)
			}
		}
		require.InDeltaSlice(t, []float64{-22, lpp}, at, 1e-9)
	}
	got := average([][]float64{{1, 2, math.NaN()}, {3, math.NaN()}}, 3)
	require.Equal(t, []float64{2, 2}, got[:2])
	require.True(t, math.IsNaN(got[2]))
}

func TestPeaks(t *testing.T) {
	r := sampleRagged(401, 1, 0) // an odd number has its median among the values
	c := Peaks(r, "")
	lpp := scaled(r.LPP, 180/math.Pi)
	sorted := slices.Sorted(slices.Values(lpp))
	require.Equal(t, fmt.Sprintf("401 cycles with a peak of their burn  ·  mean %.2f deg  ·  median %.2f deg  ·  sd %.2f deg",
		stat.Mean(lpp, nil), stat.Quantile(0.5, stat.Empirical, sorted, nil), stat.StdDev(lpp, nil)), c.Subtitle)
	require.Equal(t, 2.5, median([]float64{4, 1, 3, 2}))

	r = sampleRagged(400, 1, 97)
	c = Peaks(r, "")
	text := texts(t, write1(t, c, SVG, testMeta))
	for _, want := range []string{"LPP [deg after TDC]", "cycles in 1 deg", "4 misfires", "one sd on either side"} {
		require.Contains(t, text, want)
	}
	var lit, unlit float64
	for _, l := range c.panels[0].layers {
		if b, ok := l.(bars); ok {
			for i := range b.top {
				if b.col == haze {
					lit += b.top[i] - b.base[i]
				} else {
					unlit += b.top[i] - b.base[i]
				}
			}
		}
	}
	require.Equal(t, 396., lit, "every cycle stands in a bar")
	require.Equal(t, 4., unlit)
}

// The LPP of sampled pressure lies on the grid of the samples, which is on the
// edges of the bins. Each bin has one value, as gonum's histogram of the whole
// degrees has.
func TestBinsOnTheGrid(t *testing.T) {
	var v, whole, edges []float64
	for k := -20; k < 40; k++ {
		v, whole, edges = append(v, float64(k)*deg*(1/deg)), append(whole, float64(k)), append(edges, float64(k))
	}
	require.Equal(t, stat.Histogram(nil, append(edges, 40), whole, nil), counts(v, -20, 1, 60))

	from, width, n := bins(v, nil)
	// Quartiles of -20 … 39 about 30 deg apart: 2·30/∛60 = 15.3, the next round width.
	require.Equal(t, []float64{-20, 20, 3}, []float64{from, width, float64(n)})
	sum := 0.
	for _, c := range counts(v, from, width, n) {
		sum += c
	}
	require.Equal(t, 60., sum)
}

// Hostile lists leave a picture without NaN, in every format.
func TestRaggedExtremes(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	one, none, broken, short := sampleRagged(1, 1, 0), sampleRagged(20, 20, 1), sampleRagged(20, 20, 3), sampleRagged(20, 20, 3)
	for i := range broken.Pressure {
		broken.LPP[i], broken.Peak[i], broken.IMEP[i] = nan, inf, nan
		for k := range broken.Pressure[i] {
			broken.Pressure[i][k], broken.Ion[i][k], broken.Mean[k] = nan, -inf, nan
		}
	}
	broken.Spark = nan
	short.Theta, short.Mean, short.LPP, short.Peak, short.Lit = short.Theta[:400], nil, short.LPP[:3], short.Peak[:7], short.Lit[:2]
	short.Pressure[0], short.Ion = nil, [][]float64{nil, {1}, {nan, 2}}
	few := &Ragged{LPP: []float64{0.1}, Peak: []float64{3e6}, IMEP: []float64{5e5}, Spark: nan}
	huge := &Ragged{LPP: []float64{-1e300, 0.1, 0.2, 1e300}, Peak: []float64{-1e300, 1e6, 2e6, 1e300}, IMEP: []float64{1e300, -1e300, 1e300, 2}}
	for name, r := range map[string]*Ragged{"empty": {}, "one": one, "none lit": none, "broken": broken, "short": short, "few": few, "huge": huge} {
		for _, c := range []*Chart{Overlay(r, name), Return(r, name), IonBeside(r, name), Peaks(r, name)} {
			for _, f := range []Format{SVG, PNG, PDF} {
				b := write1(t, c, f, nil)
				if f == SVG {
					for _, text := range texts(t, b) {
						require.NotRegexp(t, "NaN|Inf", text, "%s: %s", name, c.About)
					}
					require.NotRegexp(t, `(d|x|y)="[^"]*(NaN|Inf)`, string(b), "%s: %s", name, c.About)
				}
			}
		}
	}
	require.Contains(t, Overlay(none, "").Subtitle, "20 misfires")
	require.NotContains(t, Overlay(none, "").Subtitle, "LPP", "a misfire has no peak of its own")
	require.Equal(t, "1 cycle", strings.Split(Overlay(one, "").Subtitle, "  ·  ")[0])
	require.NotContains(t, Overlay(one, "").Subtitle, "sd", "one cycle has no spread")
}
