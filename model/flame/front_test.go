package flame

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// layouts are plugs in a bore of 1 m.
var layouts = [][]Plug{
	{{0, 0}},
	{{0.01, 0}},
	{{0.1, 0.05}},
	{{0, -0.25}},
	{{0.4, 0}},
	{{0.5, 0}},
	{{0.25, 0}, {-0.25, 0}},
	{{0.15, 0}, {-0.15, 0}},
	{{0.3, 0}, {-0.1, 0.2}},
	{{0.2, 0.2}, {-0.2, 0.2}, {0, -0.3}},
	{{0.25, 0.25}, {-0.25, 0.25}, {-0.25, -0.25}, {0.25, -0.25}},
}

// built keeps what many tests read.
var built = func() [][]*Front {
	all := make([][]*Front, len(layouts))
	for i, plugs := range layouts {
		var err error
		if all[i], err = NewFronts(1, plugs); err != nil {
			panic(err)
		}
	}
	return all
}()

// disc is the area of a bore of 1 m.
const disc = math.Pi / 4

// While nothing is met the front is a hemisphere, to rounding.
func TestHemisphere(t *testing.T) {
	fronts, err := NewFronts(0.09, []Plug{{0.01, 0.02}, {-0.02, 0}})
	require.NoError(t, err)
	for _, f := range fronts {
		for _, r := range []float64{1e-6, 1e-3, 0.008, 0.0099} {
			s := f.At(2*math.Pi/3*r*r*r, 0.01)
			require.InEpsilon(t, r, s.Radius, 1e-14)
			require.InEpsilon(t, 2*math.Pi*r*r, s.Area, 1e-14)
			require.InEpsilon(t, math.Pi*r*r, s.Head, 1e-14)
			require.Zero(t, s.Piston)
			require.Zero(t, s.Liner)
		}
	}
}

// Between piston and liner the front is a zone of a sphere: closed forms by
// hand, to rounding.
func TestZone(t *testing.T) {
	fronts, err := NewFronts(0.09, []Plug{{0.015, 0}})
	require.NoError(t, err)
	const h = 0.01
	for _, r := range []float64{0.0101, 0.02, 0.0299} {
		s := fronts[0].At(math.Pi*(r*r*h-h*h*h/3), h)
		require.InEpsilon(t, r, s.Radius, 1e-13)
		require.InEpsilon(t, 2*math.Pi*r*h, s.Area, 1e-13)
		require.InEpsilon(t, math.Pi*r*r, s.Head, 1e-13)
		require.InEpsilon(t, math.Pi*(r*r-h*h), s.Piston, 1e-11)
		require.Zero(t, s.Liner)
	}
}

// A plug in the middle whose front is cut by the liner up to the height zb:
// closed forms by hand, exact for the table but for rounding in the volume,
// of which the end of the burn takes the root: 1e-7.
func TestCentralAtLiner(t *testing.T) {
	for _, h := range []float64{0.03, 0.1, 0.3, 0.49} {
		for _, w := range []float64{0.01, 0.2, 0.5, 0.77, 0.99} {
			zb := w * h
			r := math.Hypot(0.5, zb)
			s := built[0][0].At(math.Pi*(zb/4+r*r*(h-zb)-(h*h*h-zb*zb*zb)/3), h)
			require.InDelta(t, r, s.Radius, 1e-7)
			require.InDelta(t, 2*math.Pi*r*(h-zb), s.Area, 1e-7)
			require.InDelta(t, disc, s.Head, 1e-7)
			require.InDelta(t, math.Pi*(r*r-h*h), s.Piston, 1e-7)
			require.InDelta(t, math.Pi*zb, s.Liner, 1e-7)
		}
	}
}

// A chamber taller than the reach of a plug in the middle: the front spans the
// liner and its cap is cut by a plane, 2πr(r − √(r²−R²)) by hand; table, 2e-5.
func TestCentralTall(t *testing.T) {
	const h = 1.3
	for _, r := range []float64{0.51, 0.6, 0.9, 1.25} {
		zb := math.Sqrt(r*r - 0.25)
		s := built[0][0].At(math.Pi*(zb/4+r*r*(r-zb)-(r*r*r-zb*zb*zb)/3), h)
		require.InDelta(t, 2*math.Pi*r*(r-zb), s.Area, 2e-5)
		require.InDelta(t, math.Pi*zb, s.Liner, 2e-5)
		require.Zero(t, s.Piston)
	}
}

// The quadrature against counting, which knows nothing of rays: a lattice of
// points in the chamber, on its walls, and on the sphere. The tolerances are what
// the lattices leave.
func TestQuadratureByCounting(t *testing.T) {
	const n = 120
	for _, plugs := range layouts {
		for own, plug := range plugs {
			c := newCell(plugs, own)
			mine := func(x, y float64) bool {
				d := math.Hypot(x-plug.X, y-plug.Y)
				for _, p := range plugs {
					if math.Hypot(x-p.X, y-p.Y) < d {
						return false
					}
				}
				return x*x+y*y <= 0.25
			}
			for _, at := range [][2]float64{{0.3, 0.08}, {0.45, 0.3}, {0.55, 0.8}, {0.7, 0.1}} {
				r, h := at[0], at[1]
				var want form
				for i := range n {
					for j := range n {
						x, y := (float64(i)+0.5)/n-0.5, (float64(j)+0.5)/n-0.5
						if mine(x, y) {
							// In z by hand.
							sq := math.Max(0, r*r-(x-plug.X)*(x-plug.X)-(y-plug.Y)*(y-plug.Y))
							want.volume += math.Min(h, math.Sqrt(sq)) / n / n
							if sq > 0 {
								want.head += 1. / n / n
							}
							if sq > h*h {
								want.piston += 1. / n / n
							}
						}
						// Even in z and about the plug makes even
						// on the sphere; every ring is turned on.
						z := (float64(i) + 0.5) / n * math.Min(r, h)
						sin, cos := math.Sincos(2 * math.Pi * (float64(j) + 0.618*float64(i)) / n)
						out := math.Sqrt(r*r - z*z)
						if mine(plug.X+out*cos, plug.Y+out*sin) {
							want.zone += 2 * math.Pi * math.Min(r, h) / n / n
						}
					}
				}
				const around = 4000
				for j := range around {
					sin, cos := math.Sincos(2 * math.Pi * (float64(j) + 0.5) / around)
					x, y := 0.5*cos*(1-1e-12), 0.5*sin*(1-1e-12)
					if mine(x, y) {
						sq := math.Max(0, r*r-(x-plug.X)*(x-plug.X)-(y-plug.Y)*(y-plug.Y))
						want.liner += math.Min(h, math.Sqrt(sq)) * math.Pi / around
					}
				}
				got := c.direct(r, h)
				name := fmt.Sprintf("%v #%d r %g h %g", plugs, own, r, h)
				require.InDelta(t, want.volume, got.volume, 2e-3*r, name)
				require.InDelta(t, want.zone, got.zone, 5e-3*math.Min(r, h), name)
				require.InDelta(t, want.head, got.head, 2e-3, name)
				require.InDelta(t, want.piston, got.piston, 2e-3, name)
				require.InDelta(t, want.liner, got.liner, 2e-3, name)
			}
		}
	}
}

// The quadrature obeys dV/dr = Af and dV/dh = piston, against central
// differences; those are off by the square of the step, or near a kink by the
// step, so 1e-3.
func TestQuadratureDerivatives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		plugs := rapid.SampledFrom(layouts).Draw(t, "plugs")
		c := newCell(plugs, rapid.IntRange(0, len(plugs)-1).Draw(t, "own"))
		h := rapid.Float64Range(0.03, 1.4).Draw(t, "h")
		r := rapid.Float64Range(0.01, 0.999).Draw(t, "r over reach") * c.reach(h)
		const d = 1e-5
		require.InDelta(t, r*c.direct(r, h).zone, (c.direct(r+d, h).volume-c.direct(r-d, h).volume)/(2*d), 1e-3)
		require.InDelta(t, c.direct(r, h).piston, (c.direct(r, h+d).volume-c.direct(r, h-d).volume)/(2*d), 1e-3)
	})
}

// The table against the quadrature: the numbers in the doc of Front, in units
// of the square of the bore.
func TestTableError(t *testing.T) {
	for i, plugs := range layouts {
		for own, f := range built[i] {
			c := newCell(plugs, own)
			for _, part := range []struct{ low, high, worst, mean float64 }{
				{lowest, 0.4, 2e-3, 1e-4},
				{0.4, highest, 6e-3, 3e-4},
			} {
				var worst, squares, n float64
				for h := part.low; h <= part.high; h *= 1.13 {
					for k := 1.; k < 200; k++ {
						r := c.reach(h) * k / 200
						q := c.direct(r, h)
						off := math.Abs(f.At(q.volume, h).Area - r*q.zone)
						worst = math.Max(worst, off)
						squares += off * off
						n++
					}
				}
				t.Logf("%v #%d h to %g: worst %.1e, mean %.1e", plugs, own, part.high, worst, math.Sqrt(squares/n))
				require.Less(t, worst, part.worst, "%v #%d", plugs, own)
				require.Less(t, math.Sqrt(squares/n), part.mean, "%v #%d", plugs, own)
			}
		}
	}
}

// dV = Af dr by the table alone, on the mean over a burn: ∫ Af dr = V. 1e-3 of
// the volume, most of it from the trapezoids.
func TestFrontSweepsVolume(t *testing.T) {
	for i := range layouts {
		for _, f := range built[i] {
			for _, h := range []float64{0.05, 0.12, 0.35, 1} {
				v := f.Share * disc * h
				sum, before := 0., Shape{}
				const n = 4000
				for k := 1.; k <= n; k++ {
					x := k / n
					s := f.At(v*x*x*(3-2*x), h)
					sum += (s.Radius - before.Radius) * (s.Area + before.Area) / 2
					before = s
				}
				require.InEpsilon(t, v, sum, 1e-3, "%v h %g", layouts[i], h)
			}
		}
	}
}

// When all is enclosed the walls are wetted whole and no front is left.
func TestEnd(t *testing.T) {
	for i := range layouts {
		for _, h := range []float64{0.03, 0.1, 0.6} {
			var share, liner float64
			for _, f := range built[i] {
				s := f.At(f.Share*disc*h, h)
				require.InDelta(t, 0, s.Area, 1e-7)
				require.InDelta(t, f.Share*disc, s.Head, 1e-9)
				require.InDelta(t, f.Share*disc, s.Piston, 1e-7)
				share += f.Share
				liner += s.Liner
				require.Equal(t, s.Head, f.At(2*f.Share*disc*h, h).Head, "more than all is all")
			}
			require.InDelta(t, 1, share, 1e-12)
			require.InDelta(t, math.Pi*h, liner, 1e-7)
		}
	}
}

// The halves and quarters of a symmetric layout are alike.
func TestSymmetry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fronts := rapid.SampledFrom([][]*Front{built[6], built[7], built[10]}).Draw(t, "fronts")
		h := rapid.Float64Range(0.02, 1.5).Draw(t, "h")
		v := rapid.Float64Range(0, disc).Draw(t, "burned") * h / float64(len(fronts))
		want := fronts[0].At(v, h)
		for _, f := range fronts {
			require.InDelta(t, 1/float64(len(fronts)), f.Share, 1e-12)
			got := f.At(v, h)
			require.InDelta(t, want.Area, got.Area, 1e-7)
			require.InDelta(t, want.Piston, got.Piston, 1e-7)
			require.InDelta(t, want.Liner, got.Liner, 1e-7)
		}
	})
}

// At the start, with the same volume burned, two plugs have more front than
// one: 2^⅓ times as much while both are hemispheres.
func TestTwoPlugsHaveMoreFront(t *testing.T) {
	const h = 0.1
	for burned := 0.001; burned < 0.3; burned += 0.01 {
		v := burned * disc * h
		one := built[3][0].At(v, h).Area
		two := built[6][0].At(v/2, h).Area + built[6][1].At(v/2, h).Area
		require.Greater(t, two, one, "burned %g", burned)
		if burned < 0.02 {
			require.InEpsilon(t, math.Cbrt(2), two/one, 1e-12)
		}
	}
}

// Shape is continuous, walls are only ever wetted more, and nothing leaves its
// range. A change of 1e-10 in volume or height moves areas by its root times a
// few at worst; neighbours may be out of order by the error of the table.
func TestShapeProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		i := rapid.IntRange(0, len(layouts)-1).Draw(t, "layout")
		f := built[i][rapid.IntRange(0, len(built[i])-1).Draw(t, "own")]
		h := rapid.OneOf(rapid.Float64Range(0.02, 1.5), rapid.SampledFrom(append([]float64{f.first}, borders(f)...))).Draw(t, "h")
		if !(h > 0.01) {
			h = 0.01
		}
		all := f.Share * disc * h
		burned := rapid.Float64Range(0, 1).Draw(t, "burned")
		s := f.At(burned*all, h)

		near := func(v, h float64) {
			n := f.At(v, h)
			require.InDelta(t, s.Radius, n.Radius, 1e-3)
			require.InDelta(t, s.Area, n.Area, 1e-4)
			require.InDelta(t, s.Head, n.Head, 1e-4)
			require.InDelta(t, s.Piston, n.Piston, 1e-4)
			require.InDelta(t, s.Liner, n.Liner, 1e-4)
		}
		near(burned*all*(1+1e-10), h)
		near(burned*all*(1-1e-10), h)
		near(burned*all*(1+1e-10), h*(1+1e-10))
		near(burned*all*(1-1e-10), h*(1-1e-10))

		more := f.At((burned+0.01)*all, h)
		require.Greater(t, more.Radius, s.Radius-1e-3)
		require.Greater(t, more.Head, s.Head-5e-4)
		require.Greater(t, more.Piston, s.Piston-5e-4)
		require.Greater(t, more.Liner, s.Liner-5e-4)
		require.True(t, s.Area >= 0 && s.Area <= 2*math.Pi*s.Radius*math.Min(s.Radius, h)+2e-3, "%+v", s)
		require.True(t, s.Piston >= -1e-9 && s.Piston <= s.Head+1e-3 && s.Head <= f.Share*disc+1e-9, "%+v", s)
		require.True(t, s.Liner >= 0 && s.Liner <= math.Pi*h+1e-6, "%+v", s)
	})
}

func borders(f *Front) []float64 {
	var all []float64
	for _, b := range f.bands {
		all = append(all, b.low, b.high)
	}
	return all
}

// All lengths grow with the bore.
func TestScale(t *testing.T) {
	small, err := NewFronts(0.08, []Plug{{0.008, 0.004}})
	require.NoError(t, err)
	for _, burned := range []float64{0.01, 0.2, 0.7, 0.99} {
		got, want := small[0].At(burned*disc*0.0064*0.01, 0.01), built[2][0].At(burned*disc*0.125, 0.125)
		require.InEpsilon(t, 0.08*want.Radius, got.Radius, 1e-9)
		require.InEpsilon(t, 0.0064*want.Area, got.Area, 1e-7)
		require.InEpsilon(t, 0.0064*want.Head, got.Head, 1e-9)
	}
}

// Beyond the table the walls still add up, and nothing goes wrong with bad
// input.
func TestStrangeInput(t *testing.T) {
	f := built[3][0]
	for _, h := range []float64{1e-3, 0.0199, 1.6, 20} {
		s := f.At(disc*h, h)
		require.InEpsilon(t, disc, s.Piston, 1e-6)
		require.InEpsilon(t, math.Pi*h, s.Liner, 1e-6)
		require.InDelta(t, 0, s.Area, 1e-6)
	}
	require.Zero(t, f.At(0, 0.1))
	require.Zero(t, f.At(-1, 0.1))
	require.Zero(t, f.At(math.Inf(-1), 0.1))
	require.Zero(t, f.At(0, math.SmallestNonzeroFloat64))
	require.InDelta(t, disc, f.At(math.Inf(1), 0.1).Head, 1e-9)
	for _, in := range [][2]float64{{math.NaN(), 0.1}, {0.1, math.NaN()}, {0.1, 0}, {0.1, -1}, {0.1, math.Inf(1)}} {
		s := f.At(in[0], in[1])
		for _, v := range []float64{s.Radius, s.Area, s.Head, s.Piston, s.Liner} {
			require.True(t, math.IsNaN(v), "%v", in)
		}
	}
}

func TestNewFrontsRefuses(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		bore  float64
		plugs []Plug
		want  string
	}{
		{0, []Plug{{}}, "flame: bore = 0 m, want > 0"},
		{nan, []Plug{{}}, "flame: bore = NaN m, want > 0"},
		{0.09, nil, "flame: 0 plugs, want 1 to 4"},
		{0.09, make([]Plug, 5), "flame: 5 plugs, want 1 to 4"},
		{0.09, []Plug{{0.046, 0}}, "flame: plug 0 is 0.046 m off the axis, want at most half the bore, 0.045 m"},
		{0.09, []Plug{{}, {nan, 0}}, "flame: plug 1 is NaN m off the axis"},
		{0.09, []Plug{{0.01, 0}, {0.0101, 0}}, "flame: plugs 0 and 1 are 0.0001 m apart, want at least 0.0018 m"},
	} {
		_, err := NewFronts(c.bore, c.plugs)
		require.ErrorIs(t, err, ErrPlug)
		require.ErrorContains(t, err, c.want)
	}
	// On the liner is allowed, whatever the rounding.
	for a := 0.; a < 6; a += 0.7 {
		sin, cos := math.Sincos(a)
		_, err := NewFronts(0.09, []Plug{{0.045 * cos, 0.045 * sin}})
		require.NoError(t, err)
	}
}

// Any layout builds, its shares sum to 1, and its walls add up.
func TestAnyLayout(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var plugs []Plug
		for range rapid.IntRange(1, 3).Draw(t, "plugs") {
			sin, cos := math.Sincos(rapid.Float64Range(-4, 4).Draw(t, "angle"))
			e := rapid.Float64Range(0, 0.5).Draw(t, "off")
			plugs = append(plugs, Plug{e * cos, e * sin})
		}
		for i, p := range plugs {
			for _, q := range plugs[:i] {
				if math.Hypot(p.X-q.X, p.Y-q.Y) < apart {
					t.Skip("too close")
				}
			}
		}
		// The cells alone, for the sake of time.
		var area, liner float64
		for i := range plugs {
			c := newCell(plugs, i)
			f := c.direct(c.reach(0.1), 0.1)
			require.InDelta(t, c.area*0.1, f.volume, 1e-9)
			require.InDelta(t, 0, f.zone, 1e-6)
			area += c.area
			liner += f.liner
		}
		require.InDelta(t, disc, area, 1e-9)
		require.InDelta(t, math.Pi*0.1, liner, 1e-6)
	})
}

// An edge that lies exactly behind or ahead of the plug is found: two planes
// meet at (±1/6, 0), by hand.
func TestEdgeOnAxis(t *testing.T) {
	for _, side := range []float64{1, -1} {
		c := newCell([]Plug{{}, {0.3 * side, 0.1}, {0.3 * side, -0.1}}, 0)
		found := false
		for _, m := range c.marks {
			found = found || math.Abs(m-1./6) < 1e-12
		}
		require.True(t, found, "%v", c.marks)
	}
}

func TestAtNeverAllocates(t *testing.T) {
	f := built[3][0]
	require.Zero(t, testing.AllocsPerRun(100, func() { f.At(0.5*disc*0.1, 0.1) }))
}

func BenchmarkAt(b *testing.B) {
	f := built[2][0]
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		i++
		h := 0.08 + 0.05*float64(i%7)
		f.At(disc*h*float64(i%97)/97, h)
	}
}

func BenchmarkNewFronts(b *testing.B) {
	for _, i := range []int{0, 3, 7, 8} {
		b.Run(fmt.Sprint(layouts[i]), func(b *testing.B) {
			for b.Loop() {
				if _, err := NewFronts(1, layouts[i]); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
