package ideal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"phasebench/model"
	"phasebench/model/gas"
	"phasebench/wiebe"
)

// 1 − r^(1−k) to four digits (literature digest, section 6, mark R; half a
// unit of the last), and the states by hand: T2 = T1·r^(k−1), p2 = p1·r^k,
// T3 = T2 + q/cv, T4 = T3·r^(1−k), to 1e-11.
func TestOttoClosedForms(t *testing.T) {
	const q = 700e3
	for k, table := range map[float64]map[float64]float64{
		1.4: {6: .5116, 8: .5647, 9: .5848, 10: .6019, 12: .6299},
		1.3: {6: .4158, 8: .4641, 9: .4827, 10: .4988, 12: .5255},
	} {
		for r, want := range table {
			in := with(ColdAir, r, 300, 1e5)
			in.Gamma = k
			c, err := Otto{Charge: in, Heat: q}.Run()
			require.NoError(t, err)
			require.InDelta(t, want, c.Efficiency, 5e-5, "k %g r %g", k, r)
			require.InEpsilon(t, 1-math.Pow(r, 1-k), c.Efficiency, 1e-11)
			s := c.States
			t2 := 300 * math.Pow(r, k-1)
			require.InEpsilon(t, t2, s[1].T, 1e-11)
			require.InEpsilon(t, 1e5*math.Pow(r, k), s[1].P, 1e-11)
			t3 := t2 + q*(k-1)/287
			require.InEpsilon(t, t3, s[2].T, 1e-11)
			require.InEpsilon(t, t3*math.Pow(r, 1-k), s[3].T, 1e-11)
		}
	}
}

// The cold-air Diesel cycle has
//
//	η = 1 − r^(1−k)·(c^k − 1)/(k·(c − 1))
//
// and the dual cycle, pressure ratio b before cut-off ratio c,
//
//	η = 1 − r^(1−k)·(b·c^k − 1)/(b − 1 + k·b·(c − 1)),
//
// by hand; 1e-10. Digest, section 6: .6316 for r 18, c 2 (half a unit).
func TestDieselAndDualClosedForms(t *testing.T) {
	const k = 1.4
	for _, r := range []float64{5, 18, 30} {
		for _, cut := range []float64{1.001, 2, 3.5} {
			in := with(ColdAir, r, 300, 1e5)
			c, err := Diesel{Charge: in, Cutoff: cut}.Run()
			require.NoError(t, err)
			want := 1 - math.Pow(r, 1-k)*(math.Pow(cut, k)-1)/(k*(cut-1))
			require.InDelta(t, want, c.Efficiency, 1e-10)
			if r == 18 && cut == 2 {
				require.InDelta(t, .6316, c.Efficiency, 5e-5)
			}
			const b = 1.25
			c, err = Dual{Charge: in, PressureRatio: b, Cutoff: cut}.Run()
			require.NoError(t, err)
			want = 1 - math.Pow(r, 1-k)*(b*math.Pow(cut, k)-1)/(b-1+k*b*(cut-1))
			require.InDelta(t, want, c.Efficiency, 1e-10)
			require.Len(t, c.States, 5)
		}
	}
}

// The dual cycle holds the other two as its ends, and every way to give the
// heat is the same cycle; 1e-10.
func TestSameCycles(t *testing.T) {
	for _, g := range []string{ColdAir, Air} {
		in := with(g, 16, 310, 0.9e5)
		run := func(r runner) *Cycle {
			c, err := r.Run()
			require.NoError(t, err)
			return c
		}
		same := func(a, b *Cycle) {
			t.Helper()
			require.InEpsilon(t, a.Work, b.Work, 1e-10)
			require.InEpsilon(t, a.Heat, b.Heat, 1e-10)
			require.InEpsilon(t, a.MEP, b.MEP, 1e-10)
			require.InEpsilon(t, a.States[len(a.States)-1].T, b.States[len(b.States)-1].T, 1e-10)
		}
		otto := run(Otto{Charge: in, Heat: 900e3})
		same(otto, run(Otto{Charge: in, T3: otto.States[2].T}))
		same(otto, run(Dual{Charge: in, Heat: 900e3, Share: 1}))
		same(otto, run(Dual{Charge: in, PressureRatio: otto.States[2].P / otto.States[1].P, Cutoff: 1}))
		diesel := run(Diesel{Charge: in, Heat: 900e3})
		same(diesel, run(Diesel{Charge: in, T3: diesel.States[2].T}))
		same(diesel, run(Diesel{Charge: in, Cutoff: diesel.States[2].V / diesel.States[1].V}))
		same(diesel, run(Dual{Charge: in, Heat: 900e3}))
		same(diesel, run(Dual{Charge: in, PressureRatio: 1, Cutoff: diesel.States[2].V / diesel.States[1].V}))
		dual := run(Dual{Charge: in, Heat: 900e3, Share: 0.4})
		same(dual, run(Dual{Charge: in, PressureRatio: dual.States[2].P / dual.States[1].P,
			Cutoff: dual.States[3].V / dual.States[2].V}))
	}
}

func drawCharge(t *rapid.T, gases ...string) Charge {
	return Charge{
		Gas:   rapid.SampledFrom(gases).Draw(t, "gas"),
		Ratio: math.Exp(rapid.Float64Range(math.Log(1.001), math.Log(50)).Draw(t, "ln ratio")),
		T1:    rapid.Float64Range(230, 600).Draw(t, "T1"),
		P1:    math.Exp(rapid.Float64Range(math.Log(0.05e5), math.Log(10e5)).Draw(t, "ln p1")),
		Gamma: rapid.Float64Range(1.05, 1.67).Draw(t, "gamma"),
		R:     rapid.Float64Range(100, 5000).Draw(t, "R"),
		Air:   rapid.SampledFrom([]gas.Air{gas.DefaultAir, AirWithArgon, {N2: 1}}).Draw(t, "air"),
		Fuel:  rapid.SampledFrom(gas.Fuels()).Draw(t, "fuel"),
		Phi:   rapid.Float64Range(0.5, 1.666).Draw(t, "phi"),
	}
}

// solved runs r; a *model.Problem, which may come from a combination of values
// legal by themselves, skips the case.
func solved(t *rapid.T, r runner) *Cycle {
	c, err := r.Run()
	if p := (*model.Problem)(nil); errors.As(err, &p) {
		t.Skip(p.Error())
	}
	require.NoError(t, err)
	return c
}

// checkCycle checks what holds for any cycle: all numbers finite, the last
// state at the volume of the first, entropy kept by both isentropes, and the
// area of the curve equal to the work. The area is Simpson's rule over ln v on
// 128 intervals a leg: 1e-6 of the pressure-volume scale, to which rounding
// and the rule (steps of at most 0.03) add up to less than a tenth.
func checkCycle(t *rapid.T, c *Cycle) {
	for _, f := range c.Table() {
		require.False(t, math.IsNaN(f.Value) || math.IsInf(f.Value, 0), "%s = %g", f.Key, f.Value)
	}
	n := len(c.States)
	s := c.States
	require.InEpsilon(t, s[0].V, s[n-1].V, 1e-10)
	require.InDelta(t, s[0].S, s[1].S, 1e-7)
	require.InDelta(t, s[n-2].S, s[n-1].S, 1e-7)
	require.InEpsilon(t, c.Work, c.Efficiency*c.Heat, 1e-12)
	require.InEpsilon(t, c.Work, c.MEP*(s[0].V-s[1].V), 1e-12)

	const points = 129
	path, err := c.Path(points)
	require.NoError(t, err)
	require.Len(t, path, 2*points+n-3)
	require.Equal(t, path[0], path[len(path)-1])
	leg := func(p []State) (area float64) {
		h := math.Log(p[len(p)-1].V/p[0].V) / float64(len(p)-1)
		for i := 0; i+2 < len(p); i += 2 {
			area += h / 3 * (p[i].P*p[i].V + 4*p[i+1].P*p[i+1].V + p[i+2].P*p[i+2].V)
		}
		return area
	}
	middle := path[points-1 : len(path)-points] // 2 to the last but one
	area := leg(path[:points]) + leg(path[len(path)-1-points:len(path)-1])
	for i := 1; i < len(middle); i++ {
		area += (middle[i].P + middle[i-1].P) / 2 * (middle[i].V - middle[i-1].V)
	}
	require.InDelta(t, c.Work, area, 1e-6*s[1].P*s[1].V*math.Log(s[0].V/s[1].V), "area")
}

// Air takes in q and gives off u(last) − u(1): work is the difference, 1e-9 of
// the energies. No cycle beats the Otto cycle of the same heat and of the
// greatest γ that its gas has (air: 1.405 as it is coldest), nor Carnot's
// between its temperatures; 1e-6 covers rounding where there is little heat.
func TestAnyAirCycle(t *testing.T) {
	run := func(draw func(t *rapid.T, c Charge) runner) func(t *rapid.T) {
		return func(t *rapid.T) {
			charge := drawCharge(t, ColdAir, Air)
			c := solved(t, draw(t, charge))
			checkCycle(t, c)
			s := c.States
			n := len(s)
			rejected := s[n-1].U - s[0].U
			scale := c.Heat + math.Abs(s[0].U) + math.Abs(s[n-2].U) + s[n-2].P*s[n-2].V
			require.InDelta(t, c.Heat-rejected, c.Work, 1e-9*scale, "w = q_in - q_out")
			require.Greater(t, c.Efficiency, 0.)
			gamma := charge.Gamma
			if charge.Gas == Air {
				gamma = 1.405
				if charge.Air.Ar > 0 {
					gamma = 1.41
				}
			}
			require.LessOrEqual(t, c.Efficiency, 1-math.Pow(charge.Ratio, 1-gamma)+1e-6, "Otto")
			require.LessOrEqual(t, c.Efficiency, 1-s[0].T/s[n-2].T, "Carnot")
		}
	}
	heat := func(t *rapid.T) float64 {
		return math.Exp(rapid.Float64Range(math.Log(1e3), math.Log(3e6)).Draw(t, "ln heat"))
	}
	t.Run("Otto", rapid.MakeCheck(run(func(t *rapid.T, c Charge) runner {
		return Otto{Charge: c, Heat: heat(t)}
	})))
	t.Run("Diesel", rapid.MakeCheck(run(func(t *rapid.T, c Charge) runner {
		return Diesel{Charge: c, Heat: heat(t)}
	})))
	t.Run("Diesel by cut-off", rapid.MakeCheck(run(func(t *rapid.T, c Charge) runner {
		return Diesel{Charge: c, Cutoff: rapid.Float64Range(1.01, math.Max(1.02, math.Min(c.Ratio, 5))).Draw(t, "cutoff")}
	})))
	t.Run("dual", rapid.MakeCheck(run(func(t *rapid.T, c Charge) runner {
		return Dual{Charge: c, Heat: heat(t), Share: rapid.Float64Range(0, 1).Draw(t, "share")}
	})))
}

// A fuel-air cycle keeps its energy while it burns (1e-9), and its entropy
// grows. Its efficiency is below the Otto cycle of k = 1.4: no theorem, but
// what the gases of any such charge allow.
func TestAnyFuelAirCycle(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		charge := drawCharge(t, Equilibrium)
		c, err := Otto{Charge: charge}.Run()
		require.NoError(t, err)
		checkCycle(t, c)
		s := c.States
		require.InDelta(t, s[1].U, s[2].U, 1e-9*(math.Abs(s[1].U)+s[2].P*s[2].V))
		require.InEpsilon(t, s[1].V, s[2].V, 1e-10)
		require.Greater(t, s[2].S, s[1].S)
		require.Greater(t, c.Efficiency, 0.)
		require.Less(t, c.Efficiency, 1-math.Pow(charge.Ratio, -0.4))
		total := 0.
		for _, x := range s[3].Composition {
			total += x
		}
		require.InDelta(t, 1, total, 1e-9)
	})
}

// The corners of what is allowed have an answer for every fuel.
func TestCorners(t *testing.T) {
	for _, fuel := range gas.Fuels() {
		for k := range 16 {
			pick := func(bit int, a, b float64) float64 {
				if k>>bit&1 == 0 {
					return a
				}
				return b
			}
			c := with(Equilibrium, pick(0, 1.001, 50), pick(1, 230, 600), pick(2, 0.05e5, 10e5))
			c.Fuel, c.Phi = fuel, pick(3, 0.5, 1.666)
			o, err := Otto{Charge: c}.Run()
			require.NoError(t, err, "%+v", c)
			require.Greater(t, o.Efficiency, 0.)
			c.Gas = Air
			_, err = Otto{Charge: c, Heat: 10}.Run()
			require.NoError(t, err, "%+v", c)
			_, err = Diesel{Charge: c, Heat: 10}.Run()
			require.NoError(t, err, "%+v", c)
		}
	}
}

// A value that is not allowed gives a Problem with its key and what is
// allowed; and what it says is allowed, is.
func TestProblems(t *testing.T) {
	nan := math.NaN()
	charge := func(edit func(c *Charge)) Charge {
		c := DefaultCharge()
		edit(&c)
		return c
	}
	good, cold, fuel := DefaultCharge(), with(ColdAir, 8, 300, 1e5), with(Equilibrium, 8, 300, 1e5)
	finite := func(edit func(f *Finite)) error {
		f := Finite{10, 1.4, 20, wiebe.Stage{Start: -20 * deg, Span: 40 * deg, A: 5, M: 2}}
		edit(&f)
		_, err := f.Run()
		return err
	}
	run := func(r runner) error {
		_, err := r.Run()
		return err
	}
	heated := func(edit func(c *Charge)) error { return run(Otto{Charge: charge(edit), Heat: 800e3}) }
	burned := func(edit func(c *Charge)) error {
		return run(Otto{Charge: charge(func(c *Charge) { c.Gas = Equilibrium; edit(c) })})
	}
	hot := cold
	hot.Gamma, hot.Ratio, hot.T1 = 1.67, 50, 600
	tests := []struct {
		err       error
		key, said string // said: within the message
	}{
		{heated(func(c *Charge) { c.Gas = "steam" }), "gas", `gas = "steam": want one of cold-air, air, equilibrium`},
		{heated(func(c *Charge) { c.Gas = "" }), "gas", `""`},
		{heated(func(c *Charge) { c.Ratio = 1 }), "ratio", "ratio = 1: want 1.001 to 50"},
		{heated(func(c *Charge) { c.Ratio = nan }), "ratio", "NaN"},
		{heated(func(c *Charge) { c.Ratio = math.Inf(1) }), "ratio", "+Inf"},
		{heated(func(c *Charge) { c.T1 = 229 }), "t1_k", "t1_k = 229: want 230 to 600 K"},
		{heated(func(c *Charge) { c.P1 = 11e5 }), "p1_bar", "p1_bar = 11: want 0.05 to 10 bar"},
		{heated(func(c *Charge) { c.P1 = nan }), "p1_bar", "NaN"},
		{heated(func(c *Charge) { c.Gas, c.Gamma = ColdAir, 1 }), "gamma", "1.05 to 1.67"},
		{heated(func(c *Charge) { c.Gas, c.R = ColdAir, -1 }), "gas_constant_j_kg_k", "100 to 5000"},
		{heated(func(c *Charge) { c.Air.N2 = nan }), "air_n2", "0 to 100"},
		{burned(func(c *Charge) { c.Air.N2 = 0 }), "air_n2", "0.1 to 100"},
		{burned(func(c *Charge) { c.Phi = 0 }), "phi", "phi = 0: want 0.5 to 1.666"},
		{burned(func(c *Charge) { c.Phi = nan }), "phi", "NaN"},
		{burned(func(c *Charge) { c.Fuel = "tea" }), "fuel", `fuel = "tea": want one of iso-octane`},
		{run(Otto{Charge: good}), "heat_kj_kg", "heat_kj_kg = 0: want 0.01 to 10000 kJ/kg, or t3_k instead"},
		{run(Otto{Charge: good, Heat: nan}), "heat_kj_kg", "NaN"},
		{run(Otto{Charge: good, Heat: -5e3}), "heat_kj_kg", "heat_kj_kg = -5"},
		{run(Otto{Charge: good, Heat: 9e6}), "heat_kj_kg", "want 0.01 to 5"},
		{run(Otto{Charge: good, T3: 400}), "t3_k", "to 5900 K"},
		{run(Otto{Charge: good, T3: nan}), "t3_k", "NaN"},
		{run(Otto{Charge: good, Heat: 8e5, T3: 2000}), "t3_k", "t3_k = 2000: want nothing beside heat_kj_kg"},
		{run(Otto{Charge: fuel, Heat: 8e5}), "heat_kj_kg", "the fuel sets the heat"},
		{run(Otto{Charge: hot, Heat: 8e5}), "ratio", "below 5800 K"},
		{run(Diesel{Charge: fuel, Cutoff: 2}), "gas", "cold-air or air"},
		{run(Diesel{Charge: good}), "cutoff", "or heat_kj_kg instead, or t3_k instead"},
		{run(Diesel{Charge: good, Cutoff: 8.1}), "cutoff", "1.0001 to 8"},
		{run(Diesel{Charge: good, Cutoff: 1}), "cutoff", "1.0001 to 8"},
		{run(Diesel{Charge: good, Cutoff: nan}), "cutoff", "NaN"},
		{run(Diesel{Charge: good, Heat: 8e6}), "heat_kj_kg", "0.01 to 6"},
		{run(Dual{Charge: fuel, Heat: 8e5}), "gas", "cold-air or air"},
		{run(Dual{Charge: good}), "pressure_ratio", "or heat_kj_kg instead"},
		{run(Dual{Charge: good, PressureRatio: 1.5}), "cutoff", "cutoff = 0: want 1 to"},
		{run(Dual{Charge: good, PressureRatio: 1, Cutoff: 1}), "cutoff", "1.0001 to"},
		{run(Dual{Charge: good, PressureRatio: 0.5, Cutoff: 1}), "pressure_ratio", "want 1 to"},
		{run(Dual{Charge: good, PressureRatio: nan, Cutoff: nan}), "pressure_ratio", "NaN"},
		{run(Dual{Charge: good, PressureRatio: 1.5, Cutoff: 1.2, Share: 0.5}), "constant_volume_share", "it goes with heat_kj_kg"},
		{run(Dual{Charge: good, Cutoff: 1.2, Heat: 8e5}), "cutoff", "heat_kj_kg is given"},
		{run(Dual{Charge: good, Heat: 8e5, Share: 1.1}), "constant_volume_share", "0 to 1"},
		{run(Dual{Charge: good, Heat: 8e5, Share: nan}), "constant_volume_share", "NaN"},
		{run(Dual{Charge: good, Heat: 9.9e6, Share: 0.9}), "heat_kj_kg", "want 0.01 to"},
		{run(Dual{Charge: good, Heat: 7e6, Share: 0.5}), "heat_kj_kg", "at constant pressure the gas takes"},
		{finite(func(f *Finite) { f.Ratio = 1 }), "ratio", "1.001 to 50"},
		{finite(func(f *Finite) { f.Gamma = nan }), "gamma", "NaN"},
		{finite(func(f *Finite) { f.Heat = -1 }), "heat", "0 to 1000"},
		{finite(func(f *Finite) { f.Burn.Start = -181 * deg }), "start_deg_atdc", "-180 to 180 deg"},
		{finite(func(f *Finite) { f.Burn.Span = 0 }), "duration_deg", "0.01 to 360 deg"},
		{finite(func(f *Finite) { f.Burn.A = 0 }), "wiebe_a", "0.1 to 50"},
		{finite(func(f *Finite) { f.Burn.M = -1 }), "wiebe_m", "0 to 10"},
	}
	for i, tt := range tests {
		var p *model.Problem
		require.ErrorAs(t, tt.err, &p, "case %d, %s", i, tt.key)
		require.Equal(t, tt.key, p.Key, "case %d: %v", i, tt.err)
		require.Contains(t, tt.err.Error(), tt.said)
		require.True(t, strings.HasPrefix(tt.err.Error(), tt.key+" = "), tt.err.Error())
	}
}

// The limits said are allowed, at both ends, also where they depend on the
// rest of the input.
func TestLimitsSaid(t *testing.T) {
	c := with(Air, 12, 320, 1e5)
	ends := func(err error) (low, high float64) {
		var p *model.Problem
		require.ErrorAs(t, err, &p)
		_, scan := fmt.Sscanf(p.Want, "%g to %g", &low, &high)
		require.NoError(t, scan, p.Want)
		return low, high
	}
	for _, at := range []func(v float64) runner{
		func(v float64) runner { return Otto{Charge: c, Heat: v * kJ} },
		func(v float64) runner { return Otto{Charge: c, T3: v} },
		func(v float64) runner { return Diesel{Charge: c, Heat: v * kJ} },
		func(v float64) runner { return Diesel{Charge: c, T3: v} },
		func(v float64) runner { return Diesel{Charge: c, Cutoff: v} },
		func(v float64) runner { return Dual{Charge: c, PressureRatio: 1.3, Cutoff: v} },
		func(v float64) runner {
			d := Dual{Charge: c, PressureRatio: v, Cutoff: 1}
			if v == 1 {
				d.Cutoff = 1.1 // else there is no heat
			}
			return d
		},
		func(v float64) runner { return Dual{Charge: c, Heat: v * kJ, Share: 1} },
	} {
		_, err := at(99999).Run()
		low, high := ends(err)
		for _, v := range []float64{low, high} {
			_, err = at(v).Run()
			require.NoError(t, err)
		}
	}
}

func TestJSON(t *testing.T) {
	otto, err := Otto{Charge: DefaultCharge(), Heat: 800e3}.Run()
	require.NoError(t, err)
	dual, err := Dual{Charge: DefaultCharge(), Heat: 800e3, Share: 0.5}.Run()
	require.NoError(t, err)
	f := Finite{10, 1.4, 0, wiebe.Stage{Start: -20 * deg, Span: 40 * deg, A: 5, M: 2}}
	finite, err := f.Run()
	require.NoError(t, err)
	keys := func(v any) (keys []string) {
		text, err := json.Marshal(v)
		require.NoError(t, err)
		var m map[string]*float64
		require.NoError(t, json.Unmarshal(text, &m))
		d := json.NewDecoder(bytes.NewReader(text))
		for {
			tok, err := d.Token()
			if err == io.EOF {
				break
			}
			require.NoError(t, err)
			if k, ok := tok.(string); ok { // no value is a text
				keys = append(keys, k)
			}
		}
		require.Len(t, keys, len(m))
		return keys
	}
	require.Equal(t, strings.Fields("t1_k p1_bar t2_k p2_bar t3_k p3_bar t4_k p4_bar work_kj_kg efficiency mep_bar"), keys(otto))
	require.Equal(t, strings.Fields("t1_k p1_bar t2_k p2_bar t3_k p3_bar t4_k p4_bar t5_k p5_bar work_kj_kg efficiency mep_bar"), keys(dual))
	require.Equal(t, strings.Fields("pmax_over_p1 lpp_deg_atdc work_over_p1v1 efficiency efficiency_over_otto"), keys(finite))
	text, err := json.Marshal(finite)
	require.NoError(t, err)
	require.Contains(t, string(text), `"efficiency":null`)
}

func ExampleOtto_Run() {
	c, err := Otto{Charge: DefaultCharge(), Heat: 800e3}.Run()
	if err != nil {
		panic(err)
	}
	fmt.Printf("efficiency %.3f, mean effective pressure %.2f bar\n", c.Efficiency, c.MEP/1e5)
	// Output: efficiency 0.521, mean effective pressure 5.51 bar
}

func ExampleFinite_Run() {
	r, err := Finite{Ratio: 10, Gamma: 1.4, Heat: 20,
		Burn: wiebe.Stage{Start: -20 * math.Pi / 180, Span: 40 * math.Pi / 180, A: 5, M: 2}}.Run()
	if err != nil {
		panic(err)
	}
	fmt.Printf("peak %.2f at %.2f deg, efficiency %.4f\n", r.Peak, r.LPP*180/math.Pi, r.Efficiency)
	// Output: peak 87.78 at 10.81 deg, efficiency 0.5957
}
