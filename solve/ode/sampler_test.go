package ode

import (
	"math"
	"strings"
	"testing"
)

func TestSampler(t *testing.T) {
	// 0.5 is a break; -1 and 9 lie outside, 0 and 2 are the ends.
	xs := []float64{-1, 0, 0.1, 0.2, 0.5, 0.5, 1, 1.9, 2, 9}
	solver := New(2, &Settings{RelTol: 1e-10})
	for _, ends := range [][2]float64{{0, 2}, {2, 0}} {
		rows := make([][]float64, len(xs))
		for i := range rows {
			rows[i] = []float64{math.NaN(), math.NaN()}
		}
		s, err := NewSampler(xs, rows)
		if err != nil {
			t.Fatal(err)
		}
		y := []float64{math.Sin(ends[0]), math.Cos(ends[0])}
		start := [2]float64(y)
		// In two calls, the second going on from the first.
		for _, leg := range [][2]float64{{ends[0], 1.2}, {1.2, ends[1]}} {
			if _, err := solver.Integrate(sine, leg[0], leg[1], y, &Run{Breaks: []float64{0.5}, OnStep: s.Observe}); err != nil {
				t.Fatal(err)
			}
		}
		if lo, hi := s.Filled(); lo != 1 || hi != 9 {
			t.Errorf("%v: filled %d … %d, want 1 … 9", ends, lo, hi)
		}
		for i, x := range xs {
			if x < 0 || x > 2 {
				if !math.IsNaN(rows[i][0]) {
					t.Errorf("%v: row at %g is written", ends, x)
				}
				continue
			}
			// 100 times RelTol, the growth of this problem being below 10.
			if want := math.Sin(x); !(math.Abs(rows[i][0]-want) <= 1e-8) {
				t.Errorf("%v: y(%g) = %g, want %g ± 1e-8", ends, x, rows[i][0], want)
			}
		}
		first, last := rows[1], rows[8]
		if ends[0] > ends[1] {
			first, last = last, first
		}
		if [2]float64(first) != start || [2]float64(last) != [2]float64(y) {
			t.Errorf("%v: rows at the ends %v, %v, want exactly %v, %v", ends, first, last, start, y)
		}
		s.Reset()
		if lo, hi := s.Filled(); lo != hi {
			t.Errorf("filled %d … %d after Reset, want none", lo, hi)
		}
	}
}

func TestSamplerErrors(t *testing.T) {
	for _, tt := range []struct {
		xs   []float64
		want string
	}{
		{[]float64{0, 2, 1}, "xs[2] = 1, want >= xs[1] = 2"},
		{[]float64{0, math.NaN()}, "xs[1] = NaN"},
	} {
		_, err := NewSampler(tt.xs, make([][]float64, len(tt.xs)))
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("NewSampler(%v): error %v, want it to contain %q", tt.xs, err, tt.want)
		}
	}
}
