package solve

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/model/gas"
	"phasebench/model/wall"
	"phasebench/solve/ode"
	"phasebench/wiebe"
)

// traced integrates c from p [Pa] and t [K] and returns n pressures from -140 to 130 deg
// and the heat to the walls.
func traced(t *testing.T, c *Closed, p, temp float64, n int) (theta, pressure, heat []float64) {
	t.Helper()
	from, to := -140*deg, 130*deg
	rows := make([][]float64, n)
	theta = make([]float64, n)
	for i := range theta {
		theta[i] = from + (to-from)*float64(i)/float64(n-1)
		rows[i] = make([]float64, nUnknowns)
	}
	sampler, err := ode.NewSampler(theta, rows)
	require.NoError(t, err)
	y := []float64{p, temp, 0, 0}
	c.Begin(from, p, temp)
	_, err = ode.New(nUnknowns, &ode.Settings{RelTol: 1e-11, AbsTol: []float64{1e-5, 1e-8, 1e-7, 1e-7}}).Integrate(c, from, to, y, &ode.Run{Breaks: c.Burn.Breaks(nil), OnStep: sampler.Observe})
	require.NoError(t, err)
	for _, row := range rows {
		pressure, heat = append(pressure, row[Pressure]), append(heat, row[WallHeat])
	}
	return theta, pressure, heat
}

// dissociating is a sealed charge of gasoline with dissociation and walls.
func dissociating(t testing.TB) *Closed {
	t.Helper()
	e := load(t, "pump-set")
	ch, err := e.Chamber()
	require.NoError(t, err)
	fuel, err := gas.FuelByName(e.Fuel)
	require.NoError(t, err)
	fresh, err := gas.NewFresh(fuel, 1, gas.DefaultAir)
	require.NoError(t, err)
	burned, err := gas.NewBurned(fuel, 1, gas.DefaultAir)
	require.NoError(t, err)
	table, err := gas.NewTable(burned, gas.DefaultFreezeK)
	require.NoError(t, err)
	law, err := wall.ByName("woschni")
	require.NoError(t, err)
	c := &Closed{Chamber: ch, Speed: 230, Fresh: fresh, Burned: table, Residual: 0.05, Efficiency: 0.95,
		Burn: wiebe.Single(wiebe.Stage{Start: -20 * deg, Span: 55 * deg, A: wiebe.Whole, M: 2}),
		Wall: law, WallFactor: 1, HeadTemp: 450, PistonTemp: 480, LinerTemp: 420}
	c.Begin(-140*deg, 80e3, 370)
	vol, _ := ch.Volume(-140 * deg)
	c.in.at(370, 80e3, c.Residual, &c.s)
	c.Mass = vol / c.s.v
	return c
}

// Release returns the burn that a pressure was integrated with, and the heat to the
// walls; with half the step the error is a quarter.
func TestReleaseReturnsTheBurn(t *testing.T) {
	for name, c := range map[string]*Closed{"real gas": dissociating(t), "perfect gas": perfect(t, 1.35, 2e6, wiebe.Single(wiebe.Stage{Start: -20 * deg, Span: 60 * deg, A: wiebe.Whole, M: 2}))} {
		var worst [2]float64
		for k, n := range []int{271, 541} {
			temp := 370.
			if name == "perfect gas" { // its mass is that of 300 K and 1 bar at bottom dead centre
				v, _ := c.Chamber.Volume(-140 * deg)
				temp = 80e3 * v / (c.Mass * 287)
			}
			theta, p, wallHeat := traced(t, c, 80e3, temp, n)
			burned, heat := make([]float64, n), make([]float64, n)
			require.NoError(t, c.Release(theta, p, burned, heat), name)
			for i := range theta {
				want, _ := c.Burn.At(theta[i])
				worst[k] = math.Max(worst[k], math.Abs(burned[i]-c.Efficiency*want))
				require.InDelta(t, wallHeat[i], heat[i], 0.002*wallHeat[n-1]+1e-9, name)
			}
		}
		t.Logf("%s: at most %.2g of the charge off with 1 deg, %.2g with 0.5 deg", name, worst[0], worst[1])
		require.Less(t, worst[0], 2e-4, name) // 1 deg: the trapezium rule
		require.InDelta(t, 4, worst[0]/worst[1], 1.2, name)
	}
}

// A pressure of no gas is refused, and nothing is allocated.
func TestReleaseRefuses(t *testing.T) {
	c := dissociating(t)
	theta, p, _ := traced(t, c, 80e3, 370, 271)
	burned, heat := make([]float64, 271), make([]float64, 271)
	require.Zero(t, testing.AllocsPerRun(5, func() { require.NoError(t, c.Release(theta, p, burned, heat)) }))
	p[150] = math.NaN()
	require.ErrorContains(t, c.Release(theta, p, burned, heat), "solve: no state of the gas at 10 deg")
}

// Of a cycle that Solver burned in two zones, ReleaseZones returns the burn, and Release,
// with one, is late: the mean temperature knows no hot gas.
func TestReleaseZonesReturnsTheBurn(t *testing.T) {
	e := load(t, "pump-set")
	e.Crevice = model.Crevice{}
	s, err := New(e, nil)
	require.NoError(t, err)
	for _, x := range []struct{ mapPa, within float64 }{{50e3, 0.1}, {80e3, 0.1}, {98e3, 0.1}} {
		op := e.Point
		op.MAP = x.mapPa
		var cycle Cycle
		require.NoError(t, s.Run(&op, &cycle))
		carry, err := s.Settle(&op)
		require.NoError(t, err)
		c := dissociating(t)
		var residual float64
		c.Mass, _, residual = carry.Charge()
		c.Residual = residual
		c.Burn = wiebe.Single(wiebe.Stage{Start: -op.Spark, Span: 1, A: wiebe.Whole, M: 2})
		c.Speed, c.WallFactor = op.Speed, e.Wall.Factor
		c.HeadTemp, c.PistonTemp, c.LinerTemp = e.Wall.Head, e.Wall.Piston, e.Wall.Liner
		from, to := cycle.Begin+5, cycle.End-5
		n := to - from
		zones, one, heat := make([]float64, n), make([]float64, n), make([]float64, n)
		require.NoError(t, c.ReleaseZones(cycle.Theta[from:to], cycle.Pressure[from:to], zones, heat))
		require.NoError(t, c.Release(cycle.Theta[from:to], cycle.Pressure[from:to], one, heat))
		half := func(b []float64) float64 {
			most := 0.
			for _, v := range b {
				most = math.Max(most, v)
			}
			for i := range b {
				if b[i] >= most/2 {
					u := (most/2 - b[i-1]) / (b[i] - b[i-1])
					return (cycle.Theta[from+i-1] + u*(cycle.Theta[from+i]-cycle.Theta[from+i-1])) / deg
				}
			}
			return math.NaN()
		}
		t.Logf("%.0f kPa: CA50 %.2f, zones %.2f, one %.2f; burned %.4f, %.4f of it found at the end", op.MAP/1e3, cycle.CA50/deg, half(zones), half(one), cycle.Burned[cycle.End-6], zones[n-1])
		require.InDelta(t, cycle.CA50/deg, half(zones), x.within)
	}
}

// A perfect gas with as much heat capacity burned as unburned does not know whether it is
// one zone or two: both return the burn that a handbook's finite heat release was
// integrated with (Ferguson and Kirkpatrick, from memory, see package ideal: one zone,
// constant gamma).
func TestReleaseZonesPerfectGas(t *testing.T) {
	c := perfect(t, 1.35, 2e6, wiebe.Single(wiebe.Stage{Start: -20 * deg, Span: 60 * deg, A: wiebe.Whole, M: 2}))
	v, _ := c.Chamber.Volume(-140 * deg)
	theta, p, _ := traced(t, c, 80e3, 80e3*v/(c.Mass*287), 541)
	burned, heat := make([]float64, 541), make([]float64, 541)
	require.NoError(t, c.ReleaseZones(theta, p, burned, heat))
	for i := range theta {
		want, _ := c.Burn.At(theta[i])
		require.InDelta(t, want, burned[i], 2e-4)
	}
	require.Zero(t, testing.AllocsPerRun(5, func() { require.NoError(t, c.ReleaseZones(theta, p, burned, heat)) }))
	p[300] = math.NaN()
	require.ErrorContains(t, c.ReleaseZones(theta, p, burned, heat), "solve: no state of the gas")
}
