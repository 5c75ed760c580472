package flame

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"phasebench/model/wall"
	"phasebench/solve/ode"
)

// burning is a state in mid-burn of a 90 mm bore at 2000 rpm.
func burning() Conditions {
	return Conditions{Unburned: 12, Spark: 8, Laminar: 0.7, Piston: 6, Height: 0.012, Viscosity: 3e-6,
		Front: 2e-3, Radius: 0.03, Entrained: 3e-4, Burned: 2e-4}
}

// The formulas by hand, step by step; 4 ulp.
func TestRates(t *testing.T) {
	e, c := Usual(), burning()
	u := 0.5 * 6 * math.Pow(1.5, 1./3)
	lambda := math.Sqrt(15) * 0.012 * math.Pow(u*0.012/3e-6, -0.5)
	entrain, burn := e.Rates(&c)
	require.InEpsilon(t, 12*2e-3*(u*(1-math.Exp(-0.03/0.012))+0.7), entrain, 1e-15)
	require.InEpsilon(t, 12*2e-3*0.7+1e-4/(lambda/0.7), burn, 1e-15)
}

// Without turbulence both rates are those of a laminar flame, exactly, even
// with something entrained: it waits for ever.
func TestLaminarLimit(t *testing.T) {
	c := burning()
	for _, e := range []Entrainment{{0, 1, 1, 1, 1}, {0, 1, 1, 0, 1}} {
		entrain, burn := e.Rates(&c)
		require.Equal(t, 12*2e-3*0.7, entrain)
		require.Equal(t, 12*2e-3*0.7, burn)
	}
	// A kernel that is a thousandth of an eddy is laminar to the ratio
	// u'/SL = 5 of that.
	e := Usual()
	c.Radius = 1e-3 * c.Height
	entrain, _ := e.Rates(&c)
	require.InEpsilon(t, 12*2e-3*0.7, entrain, 5.5e-3)
}

// As τ goes to 0, mb follows me; at 0 the rates are the same.
func TestBurnsAtOnce(t *testing.T) {
	e, c := Usual(), burning()
	e.Burnup = 0
	entrain, burn := e.Rates(&c)
	require.Equal(t, entrain, burn)

	// Steady lag: me − mb = τ·(dme/dt − ρu Af SL), so a hundredth of Burnup
	// leaves a hundredth of the lag.
	lag := func(burnup float64) float64 {
		e.Burnup = burnup
		c.Burned = c.Entrained
		entrain, none := e.Rates(&c)
		c.Burned = c.Entrained - 1e-6
		_, some := e.Rates(&c)
		return 1e-6 * (entrain - none) / (some - none)
	}
	require.InEpsilon(t, lag(1)/100, lag(0.01), 1e-9)
}

// Units of length, time and mass may be chosen at will: with all conditions in
// other units, the rates are the same in these. 1e-12 for rounding.
func TestUnits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		factor := rapid.Float64Range(0.1, 10)
		l, s, m := factor.Draw(t, "length"), factor.Draw(t, "time"), factor.Draw(t, "mass")
		e, c := Usual(), burning()
		entrain, burn := e.Rates(&c)
		o := Conditions{Unburned: c.Unburned * m / l / l / l, Spark: c.Spark * m / l / l / l,
			Laminar: c.Laminar * l / s, Piston: c.Piston * l / s, Height: c.Height * l, Viscosity: c.Viscosity * l * l / s,
			Front: c.Front * l * l, Radius: c.Radius * l, Entrained: c.Entrained * m, Burned: c.Burned * m}
		entrain2, burn2 := e.Rates(&o)
		require.InEpsilon(t, entrain*m/s, entrain2, 1e-12)
		require.InEpsilon(t, burn*m/s, burn2, 1e-12)
	})
}

func TestEntrainmentCheck(t *testing.T) {
	good := Usual()
	require.NoError(t, good.Check())
	for _, change := range []func(*Entrainment){
		func(e *Entrainment) { e.Intensity = -1 },
		func(e *Entrainment) { e.Scale = 0 },
		func(e *Entrainment) { e.Speedup = math.NaN() },
		func(e *Entrainment) { e.Transition = math.Inf(1) },
		func(e *Entrainment) { e.Burnup = -1e-9 },
	} {
		bad := good
		change(&bad)
		require.ErrorIs(t, bad.Check(), ErrEntrainment)
	}
	bad := good
	bad.Scale = math.NaN()
	require.EqualError(t, bad.Check(), "flame: Entrainment.Scale = NaN, want finite and > 0: impossible entrainment")
}

func TestLights(t *testing.T) {
	for _, c := range []struct {
		name             string
		sl, u, scale, nu float64
		why              string
	}{
		{"full load, 2000 rpm", 0.6, 3, 0.015, 5e-6, ""},
		{"full load, 6000 rpm", 0.6, 9, 0.015, 5e-6, ""},
		{"no turbulence", 0.12, 0, 0.015, 5e-6, ""},
		{"lean", 0.119, 3, 0.015, 5e-6, TooLean},
		{"no flame", 0, 0, 0.015, 5e-6, TooLean},
		{"dilute and thin at high speed", 0.15, 9, 0.015, 2e-5, TooWeak},
		{"no speed known", math.NaN(), 3, 0.015, 5e-6, TooLean},
		{"no intensity known", 0.6, math.NaN(), 0.015, 5e-6, TooWeak},
		{"no viscosity known", 0.6, 3, 0.015, math.NaN(), TooWeak},
	} {
		lit, why := Lights(c.sl, c.u, c.scale, c.nu)
		require.Equal(t, c.why == "", lit, c.name)
		require.Equal(t, c.why, why, c.name)
	}
	// K = 0.157·100/√400 = 0.785 by hand at u' = 10 SL and a Reynolds number
	// of 400, so 1.5 is reached at u' = (1.5/0.785)^(2/3)·10 SL.
	edge := math.Pow(1.5/0.785, 2./3) * 10
	lit, _ := Lights(1, edge*(1-1e-9), 40, 1)
	require.True(t, lit)
	lit, _ = Lights(1, edge*(1+1e-9), 40, 1)
	require.False(t, lit)
}

// bomb burns a charge of gasoline and air in a closed disc of fixed height.
// Pressure rises in proportion to the mass burned, by a factor 4.5 in all, and
// the unburned gas is compressed with exponent 1.3 (both for a sanity run).
type bomb struct {
	law    Entrainment
	fronts []*Front
	height float64 // [m]
	volume float64 // [m³]
	p, t   float64 // [Pa], [K]
	charge float64 // [kg]
	speed  Laminar
	dilute float64 // residual mole fraction [-]
}

const perDegree = 1. / (2000 * 6) // time of a degree at 2000 rpm [s]

func newBomb(t testing.TB, law Entrainment, plugs ...Plug) *bomb {
	fronts, err := NewFronts(0.09, plugs)
	require.NoError(t, err)
	speed, err := ForFuel("gasoline")
	require.NoError(t, err)
	b := &bomb{law: law, fronts: fronts, height: 0.012, p: 14e5, t: 680, speed: speed, dilute: 0.08}
	b.volume = math.Pi / 4 * 0.09 * 0.09 * b.height
	b.charge = b.p * b.volume / (287 * b.t)
	return b
}

// Derive has x in degrees at 2000 rpm and y = {me, mb} of each front, over the
// charge of its part.
func (b *bomb) Derive(dst []float64, _ float64, y []float64) {
	burned := 0.
	for i, f := range b.fronts {
		burned += f.Share * y[2*i+1]
	}
	rise := 1 + 3.5*burned
	dense := math.Pow(rise, 1/1.3)
	temp := b.t * rise / dense
	start := b.charge / b.volume
	c := Conditions{Unburned: start * dense, Spark: start, Piston: 6, Height: b.height,
		Laminar:   b.speed.Speed(1, temp, b.p*rise, b.dilute),
		Viscosity: wall.Viscosity(temp) / (start * dense)}
	for i, f := range b.fronts {
		mass := f.Share * b.charge
		c.Entrained, c.Burned = y[2*i]*mass, y[2*i+1]*mass
		s := f.At(f.Share*b.volume-(mass-c.Entrained)/c.Unburned, b.height)
		c.Front, c.Radius = s.Area, s.Radius
		entrain, burn := b.law.Rates(&c)
		dst[2*i], dst[2*i+1] = entrain/mass*perDegree, burn/mass*perDegree
	}
}

// run returns the degrees from the spark to 10, 50 and 90 % burned.
func (b *bomb) run(t testing.TB) (ten, fifty, ninety float64, res ode.Result) {
	y := make([]float64, 2*len(b.fronts))
	for i := range y {
		y[i] = KernelShare
	}
	var run ode.Run
	angles := make([]float64, 3)
	for _, level := range []float64{0.1, 0.5, 0.9} {
		run.Events = append(run.Events, ode.Event{G: func(_ float64, y []float64) float64 {
			sum := -level
			for i, f := range b.fronts {
				sum += f.Share * y[2*i+1]
			}
			return sum
		}})
	}
	run.OnEvent = func(h ode.Hit) error { angles[h.Event] = h.X; return nil }
	res, err := ode.New(len(y), nil).Integrate(b, 0, 300, y, &run)
	require.NoError(t, err)
	for i := 0; i < len(y); i += 2 {
		// The front goes out as the root of what is left to it, within a
		// finite time, so the last step may overshoot its tolerance.
		require.LessOrEqual(t, y[i], 1+1e-6, "entrained")
		require.LessOrEqual(t, y[i+1], y[i]+1e-6, "burned")
	}
	return angles[0], angles[1], angles[2], res
}

// A plug in the middle of a 90 mm bore at 2000 rpm burns 10 to 90 % in 15 to 40
// degrees (common practice, no source), and the integrator is not held up by
// the kinks of the front: 400 steps at 1e-8 is a step per quarter of a degree.
func TestBomb(t *testing.T) {
	ten, _, ninety, res := newBomb(t, Usual(), Plug{}).run(t)
	require.True(t, ninety-ten > 15 && ninety-ten < 40, "%g degrees", ninety-ten)
	require.Less(t, res.Steps+res.Rejected, 400)
}

// What moves a burn which way.
func TestBombTrends(t *testing.T) {
	type angles struct{ ten, fifty, ninety float64 }
	burn := func(change func(*bomb), plugs ...Plug) angles {
		b := newBomb(t, Usual(), plugs...)
		if change != nil {
			change(b)
		}
		x, y, z, _ := b.run(t)
		return angles{x, y, z}
	}
	base := burn(nil, Plug{})
	side := burn(nil, Plug{X: 0.03})
	twin := burn(nil, Plug{X: 0.03}, Plug{X: -0.03})
	require.Greater(t, side.ninety-side.ten, base.ninety-base.ten, "a plug at the side has a longer way")
	require.Less(t, twin.ten, side.ten, "two plugs have more front")
	require.Less(t, twin.ninety, side.ninety, "two plugs share the way")

	dilute := burn(func(b *bomb) { b.dilute = 0.15 }, Plug{})
	cool := burn(func(b *bomb) { b.t, b.p = 600, 8e5 }, Plug{})
	require.Greater(t, dilute.ten, base.ten, "residual slows the start")
	require.Greater(t, dilute.ninety-dilute.ten, base.ninety-base.ten, "residual slows the burn")
	require.Greater(t, cool.ten, base.ten, "an early spark into cool charge takes longer to 10 %")

	// The two that calibrate: Speedup shortens all of the burn, Transition
	// sets back its start and stretches the rest by less than half of that.
	fast := burn(func(b *bomb) { b.law.Speedup = 1.5 }, Plug{})
	late := burn(func(b *bomb) { b.law.Transition = 1.2 }, Plug{})
	require.Less(t, (fast.ninety-fast.ten)/(base.ninety-base.ten), 0.85)
	require.Greater(t, late.ten-base.ten, 1.)
	require.Less(t, (late.ninety-late.ten)-(base.ninety-base.ten), 0.5*(late.ten-base.ten))
}

// Without turbulence me and mb are one, and the bomb burns as a laminar flame
// by one equation: same rates all the way (1e-12 for rounding in the sums).
func TestBombLaminar(t *testing.T) {
	law := Usual()
	law.Intensity = 0
	b := newBomb(t, law, Plug{})
	dst := make([]float64, 2)
	for x := KernelShare; x < 1; x += 0.01 {
		b.Derive(dst, 0, []float64{x, x})
		require.InEpsilon(t, dst[0], dst[1], 1e-12)
		require.Positive(t, dst[0])
	}
}

func TestRatesNeverAllocates(t *testing.T) {
	e, c := Usual(), burning()
	require.Zero(t, testing.AllocsPerRun(100, func() { e.Rates(&c) }))
}

func BenchmarkRates(b *testing.B) {
	e, c := Usual(), burning()
	b.ReportAllocs()
	for b.Loop() {
		e.Rates(&c)
	}
}
