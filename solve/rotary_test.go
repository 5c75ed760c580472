package solve

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/model/gas"
	"phasebench/solve/ode"
	"phasebench/wiebe"
)

// rotorStroke integrates a sealed rotary chamber of constant-gamma gas from one
// greatest volume to the next, from 1 bar and 300 K.
func rotorStroke(t *testing.T, gamma, heat float64, burn wiebe.Burn) (c *Closed, y []float64) {
	t.Helper()
	ch, err := chamber.NewTrochoid(chamber.Rotor{Eccentricity: 13.5e-3, Radius: 94.5e-3, Width: 75.3e-3, Ratio: 9})
	require.NoError(t, err)
	st := ch.Strokes()
	v, _ := ch.Volume(st.Compression)
	c = &Closed{Chamber: ch, Speed: 300, Mass: 1e5 * v / (287 * 300), Efficiency: 1, Burn: burn,
		Fresh: gas.Perfect{R: 287, Gamma: gamma}, Burned: gas.Perfect{R: 287, Gamma: gamma, U0: -heat}}
	y = []float64{1e5, 300, 0, 0}
	c.Begin(st.Compression, y[Pressure], y[Temp])
	run := ode.Run{}
	if len(burn) > 0 {
		run.Breaks = []float64{burn.Start()}
	} else {
		run.OnStep = func(s *ode.Step) error {
			var z [nUnknowns]float64
			s.At(s.To(), z[:])
			at, _ := ch.Volume(s.To())
			require.InEpsilon(t, 1e5*math.Pow(v, gamma), z[Pressure]*math.Pow(at, gamma), 1e-9)
			return nil
		}
	}
	_, err = ode.New(nUnknowns, &ode.Settings{RelTol: 1e-11, AbsTol: []float64{1e-5, 1e-8, 1e-7, 1e-7}}).Integrate(c, st.Compression, st.Exhaust, y, &run)
	require.NoError(t, err)
	return c, y
}

// The limits of the handbook hold whatever turns the shaft: without burning or heat
// p V^gamma stays and the work is nil (1e-9); a burn of 0.1 deg around dead centre
// is the Otto cycle of ratio 9, 1 − 9^(1−gamma) (1e-4).
func TestRotorLimits(t *testing.T) {
	for _, gamma := range []float64{1.3, 1.4} {
		_, y := rotorStroke(t, gamma, 0, nil)
		require.InDelta(t, 0, y[Work], 1e-9*1e5*5.6e-4)
		c, y := rotorStroke(t, gamma, 2e6, wiebe.Single(wiebe.Stage{Start: -0.05 * deg, Span: 0.1 * deg, A: wiebe.Whole, M: 2}))
		require.InEpsilon(t, 1-math.Pow(9, 1-gamma), y[Work]/(c.Mass*2e6), 1e-4)
	}
}

// Torque is what a dynamometer reads: the work of three chambers, from the samples
// alone, less friction, over 1080 degrees. Samples 0.5 deg apart: 2e-4 of peak
// pressure times swept volume, as in TestAnyEngine.
func TestRotorTorque(t *testing.T) {
	e := load(t, "rotary-set")
	c := cycle(t, e, nil)
	ch, err := e.Chamber()
	require.NoError(t, err)
	power := make([]float64, len(c.Theta))
	for i, theta := range c.Theta {
		_, dv := ch.Volume(theta)
		power[i] = c.Pressure[i] * dv
	}
	work := integrate.Simpsons(c.Theta, power) - c.FMEP*ch.Swept()
	require.InDelta(t, 3*work/(6*math.Pi), c.Torque, 2e-4*c.Peak*ch.Swept()*3/(6*math.Pi))
	require.InEpsilon(t, c.Torque*e.Point.Speed, c.Power, 1e-14)
	// Airflow of three chambers, a charge each a turn: taken in over one cycle by
	// the samples of the intake flow, moist air and fuel taken out.
	taken := integrate.Simpsons(c.Theta, c.Intake)
	fuel := gasFor(t, e)
	stoich := e.Point.Lambda * fuel.StoichAirFuel
	require.InEpsilon(t, taken*stoich/(1+stoich)*e.Point.Speed/(2*math.Pi), c.Airflow, 1e-3)
	require.InEpsilon(t, taken/(1+stoich)*fuel.LHV, c.FuelHeat, 1e-3)
}

func gasFor(t *testing.T, e *model.Engine) gas.Fuel {
	t.Helper()
	f, err := gas.FuelByName(e.Fuel)
	require.NoError(t, err)
	return f
}

// Balances close and the cycle repeats under every law that a rotor has, over
// speeds, loads and splits, with one plug and two; the tolerances of TestBalances.
func TestRotorBalances(t *testing.T) {
	for _, law := range []string{model.BurnScaled, model.BurnFixed, model.BurnWiebe} {
		for _, plugs := range []float64{1, 2} {
			e := load(t, "rotary-set")
			e.Burn.Law, e.Burn.Plugs = law, plugs
			if law == model.BurnWiebe {
				e.Burn.First = model.Stage{Delay: 5 * deg, Span: 90 * deg, A: wiebe.Whole, M: 2}
			}
			s, err := New(e, nil)
			require.NoError(t, err)
			for _, at := range []struct{ rpm, kpa, split float64 }{{1500, 40, 0}, {3000, 80, 15}, {6000, 100, -10}} {
				op := e.Point
				op.Speed, op.MAP, op.Split = at.rpm*2*math.Pi/60, at.kpa*1e3, at.split*deg
				c := Cycle{}
				require.NoError(t, s.Run(&op, &c))
				require.True(t, c.Lit)
				require.LessOrEqual(t, c.EnergyResidual, 1e-6, "%s %+v", law, at)
				require.LessOrEqual(t, c.MassResidual, 1e-9, "%s %+v", law, at)
				require.LessOrEqual(t, c.PeriodicChange, noisy, "%s %+v", law, at)
				require.True(t, c.Efficiency < 1-math.Pow(9, -0.4), "below the air-standard Otto cycle")
				require.True(t, c.Blowby > 0 && c.Blowby < 0.3)
			}
		}
	}
}

// A motored rotor: the greatest pressure a little before dead centre, for it loses
// heat and gas; at dead centre exactly without either (symmetry, 1e-3 deg).
func TestMotoredRotor(t *testing.T) {
	e := load(t, "rotary-set")
	s, err := New(e, nil)
	require.NoError(t, err)
	peak := func(e *model.Engine) float64 {
		s, err = New(e, nil)
		require.NoError(t, err)
		x, err := s.Settle(&e.Point)
		require.NoError(t, err)
		c := Cycle{}
		_, err = s.Next(&e.Point, &x, &Variation{1, 1, 0}, &c)
		require.NoError(t, err)
		require.False(t, c.Lit)
		return c.LPP
	}
	lossy := peak(e)
	require.True(t, lossy < -0.1*deg && lossy > -4*deg, "%g deg", lossy/deg)
	e.Wall.Law, e.Crevice.Volume = "none", 0
	e.Seals = chamber.Seals{Flow: 1}
	require.InDelta(t, 0, peak(e), 1e-3*deg)
}

// With exhaust and manifold at one pressure it makes no difference past which seals
// the gas goes: two apexes leak like a side of the same area. Two integrations of
// the same equations: 1e-9.
func TestLeaksAddUp(t *testing.T) {
	e := load(t, "rotary-set")
	e.Point.MAP = e.Point.Exhaust
	e.Burn.Law = model.BurnFixed // a scaled burn has a base point of other pressures
	e.Seals = chamber.Seals{Corner: 0.3e-6, Flow: 0.5}
	apex := cycle(t, e, nil)
	leak, err := e.Leaks()
	require.NoError(t, err)
	require.InEpsilon(t, 0.3e-6, leak.Apex, 1e-12)
	ch, err := chamber.NewTrochoid(e.Rotor)
	require.NoError(t, err)
	e.Seals = chamber.Seals{Side: 1e-6, Flow: 1}
	unit, err := ch.Leak(e.Seals)
	require.NoError(t, err)
	e.Seals.Side *= 2 * 0.3e-6 / unit.Side
	side := cycle(t, e, nil)
	require.Greater(t, apex.Blowby, 0.01)
	require.InEpsilon(t, apex.Blowby, side.Blowby, 1e-9)
	require.InEpsilon(t, apex.Torque, side.Torque, 1e-9)

	e.Seals = chamber.Seals{Flow: 1}
	tight := cycle(t, e, nil)
	require.Zero(t, tight.Blowby)
	require.Greater(t, tight.Torque, side.Torque)
}

// A rotor without losses is a piston on an endless rod with every angle stretched
// by 1.5: V − Vmin is half the swept volume times 1 − cos(2θ/3) there and 1 − cos θ
// here. The same charge, burned in angles so stretched, has the same peak at an
// angle so stretched. The rod is 2500 cranks long, which moves the volume by 1e-4.
func TestRotorIsAStretchedPiston(t *testing.T) {
	r := load(t, "rotary-set")
	r.Wall.Law, r.Crevice.Volume, r.Seals = "none", 0, chamber.Seals{Flow: 1}
	r.Burn.Law, r.Burn.Plugs, r.Burn.Flank.Tail = model.BurnFixed, 1, 0
	r.Burn.Development, r.Burn.Rapid, r.Point.Spark = 27*deg, 39*deg, 36*deg
	r.Intake.Close, r.Exhaust.Open = -210*deg, 195*deg
	ch, err := r.Chamber()
	require.NoError(t, err)

	p := load(t, "pump-set")
	p.Wall.Law, p.Crevice, p.Fuel = "none", model.Crevice{}, r.Fuel
	const stroke = 8e-3
	p.Geometry = chamber.Crank{Bore: math.Sqrt(ch.Swept() / stroke * 4 / math.Pi), Stroke: stroke, Rod: 10, Ratio: 9, HeadArea: 1, PistonArea: 1}
	p.Burn.Law, p.Burn.Efficiency = model.BurnFixed, r.Burn.Efficiency
	p.Burn.Development, p.Burn.Rapid = 18*deg, 26*deg
	p.Intake.Close, p.Exhaust.Open, p.Intake.Lift, p.Exhaust.Lift = -140*deg, 130*deg, 1e-3, 1e-3
	p.Point = r.Point
	p.Point.Spark, p.Point.Split = 24*deg, 0

	fired := func(e *model.Engine, x *Carry) (c Cycle) {
		s, err := New(e, nil)
		require.NoError(t, err)
		if x[carryM] == 0 {
			*x, err = s.Settle(&e.Point)
			require.NoError(t, err)
		}
		_, err = s.Next(&e.Point, x, &Steady, &c)
		require.NoError(t, err)
		return c
	}
	x := Carry{}
	rotor := fired(r, &x)
	piston := fired(p, &x)
	require.InEpsilon(t, piston.Peak, rotor.Peak, 2e-4)
	require.InDelta(t, 1.5*piston.LPP/deg, rotor.LPP/deg, 0.02)
}
