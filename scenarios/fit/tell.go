package fit

import (
	"context"
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/scenarios/indicate"
)

// tell fills out with what x is.
func (p *problem) tell(ctx context.Context, out *Result, x vector, set *Settings) error {
	cov, freedom, err := p.covariance(x)
	if err != nil {
		return err
	}
	n := p.count
	for i := range n {
		e := math.Sqrt(cov.At(i, i))
		half := confident(freedom[i]) * e
		low, high := p.bounds[0][i], p.bounds[1][i]
		out.Parameters = append(out.Parameters, Parameter{Name: about[i].name, Unit: about[i].unit, By: about[i].by, Start: p.start[i], Value: x[i], Error: e,
			Interval: [2]float64{x[i] - half, x[i] + half}, Low: low, High: high, AtBound: x[i] < low+0.002*(high-low) || x[i] > high-0.002*(high-low)})
		row := make([]float64, n)
		for j := range row {
			row[j] = cov.At(i, j) / math.Sqrt(cov.At(i, i)*cov.At(j, j))
		}
		out.Correlation = append(out.Correlation, row)
	}
	for i := range out.Parameters {
		most := -1
		for j, c := range out.Correlation[i] {
			if j != i && (most < 0 || math.Abs(c) > math.Abs(out.Correlation[i][most])) {
				most = j
			}
		}
		out.Parameters[i].Correlated = fmt.Sprintf("%s, %+.2f", about[most].name, out.Correlation[i][most])
	}
	if set.Profile {
		for _, i := range []int{Shift, Ratio} {
			if err := ctx.Err(); err != nil {
				return err
			}
			one, err := p.profile(x, i, out.Parameters[i].Error)
			if err != nil {
				return err
			}
			out.Profiles = append(out.Profiles, one)
		}
	}
	if err := p.lay(out, x); err != nil {
		return err
	}
	out.ChargeMass = indicate.Number{Value: x[Charge] * p.mass0, Error: out.Parameters[Charge].Error * p.mass0}
	out.Engine, err = p.fitted(out, x)
	return err
}

// lay puts measured and model beside each other.
func (p *problem) lay(out *Result, x vector) error {
	at, slope := p.buffers(), p.buffers()
	if err := p.predicted(x, at, slope); err != nil {
		return err
	}
	total, count := 0., 0.
	for j, theta := range p.theta {
		out.Theta = append(out.Theta, theta-x[Shift])
		out.Measured = append(out.Measured, p.sets[0].mean[j]+x[ZeroFired])
		out.Model = append(out.Model, at[0][j]+x[ZeroFired])
		out.Counts = append(out.Counts, p.sets[0].weight[j] > 0)
		if p.sets[0].weight[j] > 0 {
			d := out.Measured[j] - out.Model[j]
			total, count = total+d*d, count+1
		}
		if p.sets[1].count > 0 {
			out.Motored[0] = append(out.Motored[0], p.sets[1].mean[j]+x[ZeroMotored])
			out.Motored[1] = append(out.Motored[1], at[1][j]+x[ZeroMotored])
		}
	}
	out.RMS = math.Sqrt(total / count)
	samples := 0.
	for s := range p.sets {
		for _, w := range p.sets[s].weight {
			if w > 0 {
				samples++
			}
		}
	}
	out.Misfit = math.Sqrt(2 * p.cost(at) / (samples - float64(p.count)))
	return nil
}

// Range of the heating of the charge in engine files [K].
const mostHeating = 200

// fitted is the engine given with what x says: burn angles where it has angles, and a
// heating of the charge that makes its mass.
func (p *problem) fitted(out *Result, x vector) (*model.Engine, error) {
	e := *p.given
	*e.Ratio(), e.Wall.Factor = x[Ratio], x[Wall]
	switch e.Burn.Law {
	case model.BurnWiebe:
		e.Burn = p.burning(p.engine, x).Burn
	default:
		e.Burn.Development, e.Burn.Rapid = x[Development], x[Rapid]
		if e.Burn.Law != model.BurnFixed {
			e.Burn.Base = e.Point
		}
	}
	want := x[Charge] * p.mass0
	mass := func(heating float64) (float64, error) {
		f := *p.burning(p.engine, x)
		*f.Ratio(), f.Wall.Factor, f.Intake.Heating = x[Ratio], x[Wall], heating
		s, err := p.solver.For(&f)
		if err != nil {
			return 0, err
		}
		c, err := s.Settle(&p.op)
		if err != nil {
			return 0, err
		}
		m, _, _ := c.Charge()
		return m, nil
	}
	h := e.Intake.Heating
	m, err := mass(h)
	for range 4 {
		if err != nil {
			return nil, err
		}
		// Mass goes as one over the temperature of what flows in, nearly.
		next := (p.op.Intake+h)*m/want - p.op.Intake
		out.HeatingOut = next < 0 || next > mostHeating
		h = math.Min(math.Max(next, 0), mostHeating)
		m, err = mass(h)
	}
	if err != nil {
		return nil, err
	}
	e.Intake.Heating, out.Heating = h, h
	return &e, e.Check()
}
