package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
	"phasebench/scenarios/stream"
	"phasebench/solve"
)

// at is where a cycle of the tests runs.
type at struct{ rpm, kpa, lambda, spark float64 } // spark [deg] before dead centre

// The points that the tests speak of. All are of the pump set.
var (
	fullLoad = at{2000, 98, 1, 18}
	partLoad = at{2200, 80, 1, 22}
	idle     = at{900, 32, 1, 22}
)

func pumpSet(t testing.TB) *model.Engine {
	e, err := model.Load("pump-set")
	require.NoError(t, err)
	return e
}

// solved returns the periodic cycle at a with a sample at every degree.
func solved(t testing.TB, e *model.Engine, a at) *stream.Cycle {
	s, err := solve.New(e, &solve.Settings{Step: deg})
	require.NoError(t, err)
	op := e.Point
	op.Speed, op.MAP, op.Lambda, op.Spark = a.rpm*math.Pi/30, a.kpa*1e3, a.lambda, a.spark*deg
	var c solve.Cycle
	require.NoError(t, s.Run(&op, &c))
	n := len(c.Theta) - 1
	return &stream.Cycle{
		Operating: op,
		Clock:     stream.Clock{Speed: op.Speed, Start: c.Theta[0]},
		Theta:     c.Theta[:n], Pressure: c.Pressure[:n], Hot: c.Hot[:n], Temp: c.Temp[:n],
		Truth: stream.Truth{
			LPP: c.LPP, Peak: c.Peak, CA10: c.CA10, CA50: c.CA50, CA90: c.CA90,
			IMEPGross: c.IMEPGross, IMEPNet: c.IMEPNet, Lit: c.Lit, Burned: 1,
			Lambda: op.Lambda, Residual: c.Residual, Charge: c.Charge,
			KnockOnset: math.NaN(),
		},
	}
}

// take records c alone with set.
func take(t testing.TB, e *model.Engine, set Setup, c *stream.Cycle) map[string][]float64 {
	r, err := New(e, set, 1)
	require.NoError(t, err)
	var rec Record
	require.NoError(t, r.Take(c, &rec))
	return named(r, &rec)
}

// named returns the samples of rec by channel.
func named(r *Rig, rec *Record) map[string][]float64 {
	all := map[string][]float64{}
	for i, c := range r.Channels() {
		x := make([]float64, len(rec.Values[i]))
		for k, v := range rec.Values[i] {
			x[k] = float64(v)
		}
		all[c.Name] = x
	}
	return all
}

// crest returns where y, at angles theta within from and to [rad], is greatest, on
// the parabola through the greatest and its neighbours, and how great.
func crest(theta, y []float64, from, to float64) (at, top float64) {
	k := -1
	for i := 1; i < len(y)-1; i++ {
		if theta[i] >= from && theta[i] <= to && (k < 0 || y[i] > y[k]) {
			k = i
		}
	}
	l, m, r := y[k-1], y[k], y[k+1]
	bend := l - 2*m + r
	if !(bend < 0) {
		return theta[k], m
	}
	u := math.Max(-1, math.Min(1, (l-r)/(2*bend)))
	return theta[k] + u*(theta[1]-theta[0]), m - (l-r)*u/4
}
