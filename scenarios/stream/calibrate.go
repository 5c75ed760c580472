package stream

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"

	"phasebench/model"
)

// sample is how many cycles calibration looks at.
const sample = 1000

// mostScale bounds what calibration tries.
const mostScale = 6

// COV returns the coefficient of variation of gross IMEP over the first count
// cycles: standard deviation over mean [-].
func (s *Stream) COV(ctx context.Context, count int) (float64, error) {
	imep := make([]float64, 0, count)
	for c, err := range s.Cycles(ctx, 0, count) {
		if err != nil {
			return math.NaN(), err
		}
		imep = append(imep, c.IMEPGross)
	}
	mean, sd := stat.MeanStdDev(imep, nil)
	return sd / mean, nil
}

// Calibrate finds the Settings.Scale with which the COV of gross IMEP over the
// first 1,000 cycles at the first knot of the schedule is target [-], to 1 % of
// it, and puts it to use. The error is a *model.Problem if no scale up to 6 does.
// Nobody may use s meanwhile.
func (s *Stream) Calibrate(ctx context.Context, target float64) error {
	problem := func(want string) error {
		return &model.Problem{Key: "target_cov_percent", Given: fmt.Sprintf("%.4g", 100*target), Want: want}
	}
	if !(target > 0 && target <= 0.5) {
		return problem("more than 0 and at most 50")
	}
	schedule, exact := s.schedule, s.set.Exact
	s.schedule, s.set.Exact = schedule[:1], false
	defer func() { s.schedule, s.set.Exact = schedule, exact }()
	try := func(scale float64) (float64, error) {
		s.set.Scale = scale
		for _, p := range s.points {
			p.knobs = p.base.Times(scale)
		}
		return s.COV(ctx, sample)
	}
	// COV is nearly proportional to the scale while cycles burn well.
	low, high, reached := 0., math.NaN(), 0.
	scale := 1.
	for range 40 {
		cov, err := try(scale)
		if err != nil {
			return err
		}
		reached = math.Max(reached, cov)
		if math.Abs(cov/target-1) < 0.01 {
			return nil
		}
		if cov < target {
			low = scale
		} else {
			high = scale
		}
		next := scale * target / cov
		if !(next > low && next < high) && !math.IsNaN(high) {
			next = (low + high) / 2
		}
		if next > mostScale {
			if scale == mostScale {
				return problem(fmt.Sprintf("at most %.3g, which %d times the knobs make at this point", 100*reached, mostScale))
			}
			next = mostScale
		}
		if !math.IsNaN(high) && high-low < 1e-6 {
			break
		}
		scale = next
	}
	return problem(fmt.Sprintf("what some scale of the knobs makes: at %.4g times them the COV leaps past it", s.set.Scale))
}

// Scale is by what the knobs are multiplied.
func (s *Stream) Scale() float64 { return s.set.Scale }
