package sweep

import (
	"math"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

func bits(v float64) string { return strconv.FormatUint(math.Float64bits(v), 16) }

// The vertex of a parabola is found from any start, of a skewed peak to within
// h² f”'/(6 f") of the last stride h (by hand, from Taylor's series), and at
// the border where f rises on.
func TestPeak(t *testing.T) {
	plain := func(x float64) (float64, error) { return -(x - 3) * (x - 3), nil }
	for _, start := range []float64{-10, 0, 3, 8, 10} {
		x, err := peak(plain, start, -10, 10, 2, 0.5)
		require.NoError(t, err)
		require.InDelta(t, 3, x, 1e-12)
	}
	skew := func(x float64) (float64, error) { d := x - 1; return -d*d + 0.1*d*d*d, nil }
	x, err := peak(skew, -2, -5, 5, 2, 0.5)
	require.NoError(t, err)
	require.InDelta(t, 1, x, 0.25*0.6/12*1.2) // a fifth for the next terms
	up := func(x float64) (float64, error) { return x, nil }
	x, err = peak(up, 0, -5, 5, 2, 0.5)
	require.NoError(t, err)
	require.InDelta(t, 5, x, 1e-12)
	cut := func(x float64) (float64, error) { // no value beyond 1, where it is highest
		if x > 1 {
			return math.Inf(-1), nil
		}
		return x, nil
	}
	x, err = peak(cut, -3, -5, 5, 2, 0.5)
	require.NoError(t, err)
	require.True(t, x > 0 && x <= 1, "%g", x)
}

func TestRoot(t *testing.T) {
	for _, tt := range []struct {
		name string
		f    func(float64) float64
		a, b float64
		want float64
		most int // evaluations
	}{
		{"line", func(x float64) float64 { return 2*x - 1 }, 0, 3, 0.5, 3},
		{"backwards", func(x float64) float64 { return math.Exp(x) - 2 }, 2, 0, math.Ln2, 12},
		{"flat side", func(x float64) float64 { return math.Pow(x, 9) - 0.5 }, 0, 2, math.Pow(0.5, 1./9), 30},
		{"leap", func(x float64) float64 {
			if x < 1./3 {
				return -1
			}
			return 5
		}, 0, 1, 1. / 3, 60},
	} {
		n := 0
		ends, values, err := root(func(x float64) (float64, error) { n++; return tt.f(x), nil }, tt.a, tt.f(tt.a), tt.b, tt.f(tt.b), 1e-9, 1e-12)
		require.NoError(t, err)
		i := 0
		if math.Abs(values[1]) < math.Abs(values[0]) {
			i = 1
		}
		require.InDelta(t, tt.want, ends[i], 2e-9, tt.name)
		require.LessOrEqual(t, n, tt.most, tt.name)
		require.Equal(t, tt.f(ends[0]), values[0])
		require.Equal(t, tt.f(ends[1]), values[1])
	}
}

func TestQuantities(t *testing.T) {
	for _, q := range Quantities() {
		same, ok := QuantityByName(q.String())
		require.True(t, ok && same == q)
		require.NotEmpty(t, q.Title())
		require.NotEmpty(t, q.Unit())
	}
	_, ok := QuantityByName("nonsense")
	require.False(t, ok)
	n := Node{MBT: Point{}, HeldLPP: Point{}}
	n.MBT.Torque, n.HeldLPP.Torque, n.MBT.Operating.Spark, n.MBT.LPP = 20, 19, 25*deg, 14*deg
	n.Knock.Operating.Spark, n.Knock.Kind = 10*deg, Limited
	for q, want := range map[Quantity]float64{SparkMBT: 25, LPPAtMBT: 14, TorqueAtMBT: 20, KnockLimited: 10, CostOfLPP: 5} {
		require.InDelta(t, want, q.Value(&n), 1e-12, q)
	}
	n.Knock.Kind = Free
	require.True(t, math.IsNaN(KnockLimited.Value(&n)))
	n.MBT.Torque = -1
	require.True(t, math.IsNaN(CostOfLPP.Value(&n)))
}
