package valve

import (
	"fmt"
	"math"
)

// minRows is the least number of rows of a table from opening to closing.
const minRows = 5

// Table is a measured lift, joined by a monotone piecewise cubic: it never
// swings above or below two neighbouring rows, its slope is continuous all
// round the cycle, and the valve leaves its seat and lands there at rest. The
// peak is the largest lift in the table, so a peak between two rows is cut.
type Table struct {
	event
	curve curve // against the angle from the centre of the event
	peak  float64
}

// NewTable returns the lift through the rows theta [rad], strictly ascending,
// and lift [m], >= 0 and 0 in the first and the last, in a cycle of period
// [rad]. Rows of zeros before and after the event are dropped; from the last 0
// before it to the first 0 after it at least 5 rows must be left. Otherwise
// the error wraps ErrLift and names the row, counted from 1.
func NewTable(theta, lift []float64, period float64) (*Table, error) {
	bad := func(format string, args ...any) (*Table, error) {
		return nil, fmt.Errorf("valve: table: %s: %w", fmt.Sprintf(format, args...), ErrLift)
	}
	n := len(theta)
	switch {
	case len(lift) != n:
		return bad("%d angles and %d lifts, want as many", n, len(lift))
	case n < minRows:
		return bad("%d rows, want >= %d", n, minRows)
	case theta[n-1] <= theta[0]:
		return bad("row %d: closing = %g rad, want > opening = %g rad of row 1", n, theta[n-1], theta[0])
	}
	peak := 0.
	for i, l := range lift {
		switch {
		case math.IsNaN(theta[i]) || math.IsInf(theta[i], 0):
			return bad("row %d: angle = %g rad, want a number", i+1, theta[i])
		case i > 0 && !(theta[i] > theta[i-1]):
			return bad("row %d: angle = %g rad, want > %g rad of row %d", i+1, theta[i], theta[i-1], i)
		case !(l >= 0) || math.IsInf(l, 0):
			return bad("row %d: lift = %g m, want >= 0 m", i+1, l)
		case (i == 0 || i == n-1) && l != 0:
			return bad("row %d: lift = %g m, want 0 m at both ends", i+1, l)
		}
		peak = math.Max(peak, l)
	}
	if peak == 0 {
		return bad("rows 1 to %d: lift = 0 m, want > 0 m in some row", n)
	}
	first, last := 0, n-1
	for lift[first+1] == 0 {
		first++
	}
	for lift[last-1] == 0 {
		last--
	}
	if last-first+1 < minRows {
		return bad("rows %d to %d: %d rows from opening to closing, want >= %d", first+1, last+1, last-first+1, minRows)
	}
	e, err := newEvent(theta[first], theta[last], period)
	if err != nil {
		return nil, fmt.Errorf("valve: table: rows %d to %d: %w", first+1, last+1, err)
	}
	x := make([]float64, last-first+1)
	for i := range x {
		x[i] = theta[first+i] - e.mid
	}
	return &Table{e, newCurve(x, lift[first:last+1]), peak}, nil
}

// At implements Lift.
func (t *Table) At(theta float64) float64 {
	x := t.centred(theta)
	if math.Abs(x) >= t.half {
		return 0
	}
	return max(t.curve.at(x), 0) // rounding close to the seat
}

// Peak implements Lift.
func (t *Table) Peak() float64 { return t.peak }
