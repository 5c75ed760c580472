package reader

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

func pumpSet(t testing.TB) *model.Engine {
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	return e
}

func made(t testing.TB, name string, s Signal, set *Settings) Reader {
	r, err := New(name, s, pumpSet(t), set)
	require.NoError(t, err)
	return r
}

// circle returns n angles of a cycle.
func circle(n int) []float64 {
	theta := make([]float64, n)
	for i := range theta {
		theta[i] = -2*math.Pi + 4*math.Pi*float64(i)/float64(n)
	}
	return theta
}

// gauss is a hump of that height at an angle, wide at half height [deg].
func gauss(theta, height, at, wide float64) float64 {
	z := (theta/deg - at) / (wide / 2)
	return height * math.Exp(-math.Ln2*z*z)
}

// twoPeaks is an ion current of two Gaussians with white noise, in an Input that
// fired at 25 deg at 1500 rpm: blanking ends at -11.5 deg.
func twoPeaks(n int, at, noise float64, z *rand.Rand) *Input {
	in := &Input{Theta: circle(n), Spark: 25 * deg, Speed: 50 * math.Pi, MAP: 80e3}
	for _, theta := range in.Theta {
		in.Values = append(in.Values, gauss(theta, 20e-6, -6, 8)+gauss(theta, 15e-6, at, 25)+noise*z.NormFloat64())
	}
	return in
}

// A hump whose place is known, on samples of 1, 0.5 and 0.1 deg, apart from the
// front: the plain readers are good to half a sample, those that go between samples
// to a hundredth of a degree; the centroid cuts a flank where half height falls between samples,
// or on the edge of the window, hence a quarter. Tracker knows no Gaussian humps, and is tested on cycles.
func TestKnownHump(t *testing.T) {
	z := rand.New(rand.NewPCG(1, 1))
	for _, n := range []int{720, 1440, 7200} {
		half := 180 * 2 / float64(n) // of a sample [deg]
		for _, at := range []float64{22.3, 25.17} {
			in := twoPeaks(n, at, 0, z)
			set := Usual(Ion)
			set.From = 8 * deg
			for name, tol := range map[string]float64{
				"maximum": half, "smoothed": half, "parabola": 0.02, "derivative": 0.02, "centroid": 0.25, "chord": 0.02, "template": 0.1, "two-humps": 0.05,
			} {
				got := made(t, name, Ion, set).Read(in)
				require.Empty(t, got.Why, name)
				require.InDelta(t, at, got.Angle/deg, tol+1e-9, "%s, %d samples", name, n)
				require.Greater(t, got.Quality, 0.5, name)
			}
		}
	}
}

// Under noise of 2 % of the hump's height readings scatter: those that use many
// samples less than half as much as the plain maximum. The fit of both humps is
// the least squares there are: by theory its deviation is σ/h·√(w/√(π/2))·√Δθ with
// w = c/√2 = 10.6 deg and samples Δθ apart, 0.06 deg; a tenth is asked for. Both ends of
// a chord move by the filtered noise, 0.37·σ, over the slope of the filtered hump there,
// 0.0276·h a degree by hand: their middle by 1/√2 of that, 0.19 deg; 15 % are asked for.
func TestScatter(t *testing.T) {
	rms := map[string]float64{}
	set := Usual(Ion)
	set.From = 8 * deg
	const cycles = 300
	for _, name := range []string{"maximum", "smoothed", "parabola", "derivative", "centroid", "chord", "two-humps"} {
		z := rand.New(rand.NewPCG(3, 3))
		r := made(t, name, Ion, set)
		for range cycles {
			got := r.Read(twoPeaks(720, 20, 0.3e-6, z))
			require.Empty(t, got.Why, name)
			rms[name] += math.Pow(got.Angle/deg-20, 2) / cycles
		}
		rms[name] = math.Sqrt(rms[name])
	}
	t.Logf("rms [deg] %v", rms)
	require.Less(t, rms["parabola"], rms["maximum"]/2)
	require.Less(t, rms["centroid"], rms["maximum"]/2)
	require.Less(t, rms["two-humps"], 0.1)
	require.InEpsilon(t, 0.19, rms["chord"], 0.15)
}

// Why readers decline, and that they do not make up an angle.
func TestDecline(t *testing.T) {
	z := rand.New(rand.NewPCG(1, 1))
	for _, s := range []Signal{Pressure, Ion} {
		for _, name := range Names(s) {
			r := made(t, name, s, nil)
			for why, spoil := range map[string]func(*Input){
				whyBroken + "/nan":   func(in *Input) { in.Values[100] = math.NaN() },
				whyBroken + "/short": func(in *Input) { in.Values = in.Values[:10] },
				whyBroken + "/back":  func(in *Input) { in.Theta[5] = in.Theta[4] },
				whyBroken + "/still": func(in *Input) { in.Speed = 0 },
				whyBroken + "/spark": func(in *Input) { in.Spark = math.Inf(1) },
				whyBroken + "/none":  func(in *Input) { in.Theta, in.Values = nil, nil },
			} {
				in := twoPeaks(720, 20, 0.3e-6, z)
				spoil(in)
				got := r.Read(in)
				require.Equal(t, whyBroken, got.Why, "%s: %s", name, why)
				require.True(t, math.IsNaN(got.Angle))
				require.Zero(t, got.Quality)
			}
		}
	}
	for _, name := range Names(Ion) {
		r := made(t, name, Ion, nil)
		late := twoPeaks(720, 20, 0.3e-6, z)
		late.Spark, late.Speed = -50*deg, 600 // blanking ends at 101 deg
		require.Equal(t, whyBlanked, r.Read(late).Why, name)
		dead := twoPeaks(720, 20, 0.3e-6, z)
		for i := range dead.Values {
			dead.Values[i] = 0
		}
		got := r.Read(dead)
		if name == "maximum" || name == "smoothed" { // they read what is there
			require.Zero(t, got.Quality, name)
			continue
		}
		require.NotEmpty(t, got.Why, name)
	}
}

// A top before the window: the plain reader returns the edge with quality 0, those
// that look for a peak decline.
func TestEdge(t *testing.T) {
	in := &Input{Theta: circle(720), Spark: 40 * deg, Speed: 150, MAP: 80e3}
	for _, theta := range in.Theta {
		in.Values = append(in.Values, gauss(theta, 20e-6, -4, 25))
	}
	got := made(t, "maximum", Ion, nil).Read(in)
	require.InDelta(t, 0, got.Angle, 1e-12)
	require.Zero(t, got.Quality)
	for _, name := range []string{"parabola", "derivative", "chord"} {
		require.Equal(t, whyEdge, made(t, name, Ion, nil).Read(in).Why, name)
	}
}

// Humps are counted where they rise and fall beyond the noise.
func TestHumps(t *testing.T) {
	z := rand.New(rand.NewPCG(1, 1))
	set := Usual(Ion)
	set.From = -60 * deg
	in := twoPeaks(720, 30, 0.1e-6, z)
	require.Equal(t, 2, made(t, "smoothed", Ion, set).Read(in).Humps)
	set.From = 8 * deg
	require.Equal(t, 1, made(t, "smoothed", Ion, set).Read(in).Humps)
}

// What allocates, allocates once.
func TestReadAllocates(t *testing.T) {
	z := rand.New(rand.NewPCG(1, 1))
	in := twoPeaks(720, 20, 0.3e-6, z)
	for _, s := range []Signal{Pressure, Ion} {
		for _, name := range Names(s) {
			r := made(t, name, s, nil)
			r.Read(in)
			require.Zero(t, testing.AllocsPerRun(20, func() { r.Read(in) }), name)
		}
	}
}

// The vertex of a parabola given exactly, of any spacing.
func TestVertex(t *testing.T) {
	x := []float64{-1, 0, 0.5, 2, 3}
	var y []float64
	for _, v := range x {
		y = append(y, 7-3*(v-1.25)*(v-1.25))
	}
	at, ok := vertex(x, y, 0.5)
	require.True(t, ok)
	require.InDelta(t, 1.25, at, 1e-12)
	for i := range y {
		y[i] = -y[i] // a valley
	}
	_, ok = vertex(x, y, 0.5)
	require.False(t, ok)
}

func TestSettings(t *testing.T) {
	for _, s := range []Signal{Pressure, Ion} {
		require.NoError(t, Usual(s).Check())
	}
	for want, spoil := range map[string]func(*Settings){
		"reader.from_deg = -190: want -180 to 180": func(s *Settings) { s.From = -190 * deg },
		"reader.to_deg = 0.5: want 1 to 180":       func(s *Settings) { s.To = 0.5 * deg },
		"reader.blank_ms = 21: want 0 to 20":       func(s *Settings) { s.Blank = 21e-3 },
		"reader.smooth_deg = 0: want 0.1 to 30":    func(s *Settings) { s.Smooth = 0 },
		"reader.least = -1: want 0 to 100":         func(s *Settings) { s.Least = -1 },
		"reader.exponent = NaN: want 1.1 to 1.45":  func(s *Settings) { s.Exponent = math.NaN() },
		"reader.share = 1: want 0.5 to 0.99":       func(s *Settings) { s.Share = 1 },
		"reader.smooth_deg = +Inf: want 0.1 to 30": func(s *Settings) { s.Smooth = math.Inf(1) },
		"reader.blank_ms = NaN: want 0 to 20":      func(s *Settings) { s.Blank = math.NaN() },
		"reader.from_deg = NaN: want -180 to 180":  func(s *Settings) { s.From = math.NaN() },
		"reader.to_deg = 180.001: want 1 to 180":   func(s *Settings) { s.To = 180.001 * deg },
	} {
		set := Usual(Ion)
		spoil(set)
		var p *model.Problem
		require.ErrorAs(t, set.Check(), &p)
		require.EqualError(t, set.Check(), want)
		_, err := New("maximum", Ion, pumpSet(t), set)
		require.EqualError(t, err, want)
	}
}

func TestNewRefuses(t *testing.T) {
	_, err := New("mirror", Ion, pumpSet(t), nil)
	require.EqualError(t, err, "reader = mirror: want one of maximum, smoothed, parabola, derivative, centroid, chord, template, two-humps, tracker for ion")
	_, err = New("tracker", Pressure, pumpSet(t), nil)
	require.EqualError(t, err, "reader = tracker: want one of maximum, smoothed, parabola, derivative, centroid, chord, template, mirror, ca50 for pressure")
}

// The mean of alike traces is read as one of them; noise falls with the root of
// their number, and a plain maximum scatters less.
func TestMeanTrace(t *testing.T) {
	set := Usual(Ion)
	set.From = 8 * deg
	z := rand.New(rand.NewPCG(4, 4))
	inner := made(t, "maximum", Ion, set)
	r, err := MeanTrace(inner, 16)
	require.NoError(t, err)
	still := twoPeaks(720, 20, 0, z)
	for range 3 {
		require.InDelta(t, inner.Read(still).Angle, r.Read(still).Angle, 1e-12)
	}
	r.Reset()
	var one, many float64
	for i := range 116 {
		in := twoPeaks(720, 20, 0.5e-6, z)
		a, b := r.Read(in).Angle/deg-20, inner.Read(in).Angle/deg-20
		if i >= 16 {
			many, one = many+a*a, one+b*b
		}
	}
	require.Less(t, many, one/3)
	require.Equal(t, whyBroken, r.Read(&Input{}).Why)
	_, err = MeanTrace(inner, 0)
	require.EqualError(t, err, "cycles = 0: want 1 to 1000")
}

func BenchmarkRead(b *testing.B) {
	z := rand.New(rand.NewPCG(1, 1))
	in := twoPeaks(720, 20, 0.3e-6, z)
	for _, s := range []Signal{Pressure, Ion} {
		for _, name := range Names(s) {
			r := made(b, name, s, nil)
			b.Run(s.String()+"/"+name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					r.Read(in)
				}
			})
		}
	}
}
