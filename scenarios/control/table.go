package control

import "math"

// Table is spark advance [rad] over speed [rad/s], by rows, and manifold pressure
// [Pa]; both ascending. Between its points it is bilinear, outside as at the edge.
type Table struct {
	Speeds, MAPs []float64
	Spark        [][]float64
}

// At returns the spark at a speed [rad/s] and manifold pressure [Pa].
func (t *Table) At(speed, mapPa float64) float64 {
	i, u := bracket(t.Speeds, speed)
	j, v := bracket(t.MAPs, mapPa)
	row := func(i int) float64 {
		if v == 0 {
			return t.Spark[i][j]
		}
		return (1-v)*t.Spark[i][j] + v*t.Spark[i][j+1]
	}
	if u == 0 {
		return row(i)
	}
	return (1-u)*row(i) + u*row(i+1)
}

// bracket returns the place of x between x[i] and x[i+1], 0 <= u < 1.
func bracket(all []float64, x float64) (i int, u float64) {
	n := len(all)
	switch {
	case n == 1 || !(x > all[0]):
		return 0, 0
	case x >= all[n-1]:
		return n - 1, 0
	}
	for x >= all[i+1] {
		i++
	}
	return i, (x - all[i]) / (all[i+1] - all[i])
}

// finite tells whether v is a number.
func finite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }
