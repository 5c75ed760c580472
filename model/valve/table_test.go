package valve

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/interp"
	"pgregory.net/rapid"
)

// sampled is the intake cam as a table of n rows.
func sampled(t testing.TB, n int) *Table {
	c := intake(t)
	theta, lift := make([]float64, n), make([]float64, n)
	for i := range n {
		theta[i] = c.Opens() + (c.Closes()-c.Opens())*float64(i)/float64(n-1)
		lift[i] = c.At(theta[i])
	}
	lift[0], lift[n-1] = 0, 0
	tab, err := NewTable(theta, lift, period)
	require.NoError(t, err)
	return tab
}

// The cam sampled every 5 degrees with a row at its peak, every 2.5 with none
// there, and every 2.5 with one. The method is of second order: 2.6e-4 of the
// peak, as measured, then a quarter of it; the cut of a peak between rows is
// by hand 2/95² = 2.2e-4.
func TestTableOfCam(t *testing.T) {
	c := intake(t)
	for _, p := range []struct {
		rows int
		tol  float64
	}{{49, 2.8e-4}, {96, 2.3e-4}, {97, 7e-5}} {
		tab, worst := sampled(t, p.rows), 0.
		for theta := -360.; theta <= 360; theta += 0.25 {
			worst = math.Max(worst, math.Abs(tab.At(theta*deg)-c.At(theta*deg)))
		}
		t.Logf("%d rows: off by %.2g of the peak", p.rows, worst/c.Peak())
		require.LessOrEqual(t, worst/c.Peak(), p.tol, "%d rows", p.rows)
	}
}

// Inside, slopes are those of an independent implementation of the same
// method; only the end slopes differ, so the outer pieces are left out.
// Values to 1e-15 m, rounding.
func TestTableAgainstLibrary(t *testing.T) {
	theta := []float64{-2, -1.7, -1.2, -1, -0.3, 0.1, 0.8, 1}
	lift := []float64{0, 1e-3, 4e-3, 6e-3, 6.5e-3, 4e-3, 1e-3, 0}
	tab, err := NewTable(theta, lift, period)
	require.NoError(t, err)
	var other interp.FritschButland
	require.NoError(t, other.Fit(theta, lift))
	for x := -1.7; x < 0.8; x += 0.01 {
		require.InDelta(t, other.Predict(x), tab.At(x), 1e-15, "at %g rad", x)
	}
}

// Any table: through its rows, between neighbours, slope continuous (the
// change of slope over a pair of steps of 1e-7 rad is below 1e-4 of the
// steepest chord unless a piece is short), periodic.
func TestTableProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(5, 30).Draw(t, "rows")
		theta, lift := make([]float64, n), make([]float64, n)
		steepest := 0.
		theta[0] = rapid.Float64Range(-7, 7).Draw(t, "open")
		for i := 1; i < n; i++ {
			theta[i] = theta[i-1] + rapid.Float64Range(0.05, 0.4).Draw(t, "step")
			if i < n-1 {
				lift[i] = rapid.Float64Range(1e-6, 0.012).Draw(t, "lift")
			}
			steepest = math.Max(steepest, math.Abs(lift[i]-lift[i-1])/(theta[i]-theta[i-1]))
		}
		tab, err := NewTable(theta, lift, period)
		require.NoError(t, err)
		require.Equal(t, slices.Max(lift), tab.Peak())
		for i := range theta {
			require.InDelta(t, lift[i], tab.At(theta[i]), 1e-15*math.Max(1, steepest*10))
			const h = 1e-7
			l, m, r := tab.At(theta[i]-h), tab.At(theta[i]), tab.At(theta[i]+h)
			require.InDelta(t, (m-l)/h, (r-m)/h, 1e-4*steepest)
		}
		i := rapid.IntRange(1, n-1).Draw(t, "piece")
		x := theta[i-1] + rapid.Float64Range(0, 1).Draw(t, "part")*(theta[i]-theta[i-1])
		l := tab.At(x)
		low, high := math.Min(lift[i-1], lift[i]), math.Max(lift[i-1], lift[i])
		require.True(t, l >= low-1e-15 && l <= high+1e-15, "%g outside %g to %g", l, low, high)
		require.InDelta(t, l, tab.At(x+period), 1e-13)
		out := tab.Closes() + rapid.Float64Range(1e-6, 1).Draw(t, "out")*(period-tab.Closes()+tab.Opens()-2e-6)
		require.Zero(t, tab.At(out))
	})
}

// Zeros before and after the event do not count to its duration.
func TestTableDropsZeros(t *testing.T) {
	theta := []float64{-7, -6.5, -6, -5, -4, -3, -2.5, 0, 7}
	lift := []float64{0, 0, 0, 5e-3, 9e-3, 5e-3, 0, 0, 0}
	tab, err := NewTable(theta, lift, period)
	require.NoError(t, err)
	require.Equal(t, []float64{-6, -2.5, 9e-3}, []float64{tab.Opens(), tab.Closes(), tab.Peak()})
	lift[4] = 1
	require.Equal(t, 9e-3, tab.At(-4), "the rows are copied")
	require.Zero(t, tab.At(-6.2))
	require.True(t, math.IsNaN(tab.At(math.NaN())), "a bad angle shows")
}

func TestTableRefuses(t *testing.T) {
	nan := math.NaN()
	good := []float64{0, 1e-3, 2e-3, 1e-3, 0}
	for _, c := range []struct {
		theta, lift []float64
		want        string
	}{
		{[]float64{0, 1, 2, 3, 4}, []float64{0, 1e-3, 0}, "valve: table: 5 angles and 3 lifts"},
		{nil, nil, "0 rows, want >= 5"},
		{[]float64{0, 1, 2}, []float64{0, 1e-3, 0}, "3 rows, want >= 5"},
		{[]float64{4, 3, 2, 1, 0}, good, "row 5: closing = 0 rad, want > opening = 4 rad of row 1"},
		{[]float64{0, 1, 3, 2, 4}, good, "row 4: angle = 2 rad, want > 3 rad of row 3"},
		{[]float64{0, 1, 2, 2, 4}, good, "row 4: angle = 2 rad, want > 2 rad of row 3"},
		{[]float64{0, nan, 2, 3, 4}, good, "row 2: angle = NaN rad, want a number"},
		{[]float64{nan, 1, 2, 3, 4}, good, "row 1: angle = NaN rad, want a number"},
		{[]float64{0, 1, 2, 3, math.Inf(1)}, good, "row 5: angle = +Inf rad, want a number"},
		{[]float64{0, 1, 2, 3, 4}, []float64{0, 1e-3, -2e-4, 1e-3, 0}, "row 3: lift = -0.0002 m, want >= 0 m"},
		{[]float64{0, 1, 2, 3, 4}, []float64{0, 1e-3, nan, 1e-3, 0}, "row 3: lift = NaN m, want >= 0 m"},
		{[]float64{0, 1, 2, 3, 4}, []float64{1e-4, 1e-3, 2e-3, 1e-3, 0}, "row 1: lift = 0.0001 m, want 0 m at both ends"},
		{[]float64{0, 1, 2, 3, 4}, []float64{0, 1e-3, 2e-3, 1e-3, 1e-4}, "row 5: lift = 0.0001 m, want 0 m at both ends"},
		{[]float64{0, 1, 2, 3, 4}, []float64{0, 0, 0, 0, 0}, "rows 1 to 5: lift = 0 m, want > 0 m"},
		{[]float64{0, 1, 2, 3, 4}, []float64{0, 0, 0, 1, 0}, "rows 3 to 5: 3 rows from opening to closing, want >= 5"},
		{[]float64{0, 1, 2, 3, 14}, good, "rows 1 to 5: valve: duration = 14 rad, want < period = 12.5"},
	} {
		_, err := NewTable(c.theta, c.lift, period)
		require.ErrorIs(t, err, ErrLift)
		require.ErrorContains(t, err, c.want)
	}
}
