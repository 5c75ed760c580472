package indicate

import (
	"fmt"
	"math"

	"phasebench/solve"
)

// Fired finds dead centre of fired cycles, from the compression alone: that shift with
// which the model's own compression, from where the intake valve has shut to 5 deg before
// the spark, times a factor, comes nearest to the mean of the cycles by least squares; the
// zero is that of the model about bottom dead centre (with a free zero the noise alone
// makes 2 deg). Loss is 0 with the error that an exponent of compression off by 0.02 makes
// (as for the peg Fixed): a shift and an exponent look much alike, so this is the worse way
// by far.
func (d *DeadCentre) Fired() (Centre, error) {
	s, err := solve.New(d.engine, nil)
	if err != nil {
		return Centre{}, err
	}
	var m solve.Cycle
	if err := s.Run(&d.op, &m); err != nil {
		return Centre{}, err
	}
	shuts, _ := d.engine.Sealed()
	from, to := shuts+clearOfValves, -d.op.Spark-clearOfValves
	at, random, err := d.scattered(func(theta, p []float64) (float64, error) { return slid(theta, p, m.Theta, m.Pressure, from, to) })
	if err != nil {
		return Centre{}, err
	}
	start, _ := d.chamber.Volume(shuts)
	for i, theta := range m.Theta {
		if v, _ := d.chamber.Volume(theta); theta > shuts && theta < 0 {
			m.Pressure[i] *= math.Pow(start/v, exponentError)
		}
	}
	other, _, err := d.scattered(func(theta, p []float64) (float64, error) { return slid(theta, p, m.Theta, m.Pressure, from, to) })
	if err != nil {
		return Centre{}, err
	}
	e := math.Abs(other - at)
	return Centre{TDC: Number{at, math.Hypot(random, e)}, Random: random, Loss: Number{0, e}, Worst: math.NaN()}, nil
}

// slid is the shift by which a model's pressure, times a factor, comes nearest to p from
// from to to [rad], of the model's angles, by Gauss and Newton. The zero of p is where it
// makes p that of the model about bottom dead centre before compression.
func slid(theta, p, modelTheta, modelP []float64, from, to float64) (float64, error) {
	at := 0.
	var lo, hi int
	var y []float64
	for k := range 30 {
		if k < 5 { // then the same samples, lest they take turns
			lo, hi = within(theta, from+at, to+at)
			a, b := within(theta, InletFrom+at, InletTo+at)
			zero := 0.
			for i := a; i < b; i++ {
				value, _ := cubic(modelTheta, modelP, theta[i]-at)
				zero += (value - p[i]) / float64(b-a)
			}
			y = y[:0]
			for _, v := range p[lo:hi] {
				y = append(y, v+zero)
			}
		}
		var rows [][]float64
		for _, v := range theta[lo:hi] {
			value, slope := cubic(modelTheta, modelP, v-at)
			rows = append(rows, []float64{value, -slope})
		}
		c := leastSquares(rows, y)
		move := c[1] / c[0]
		if at += move; !(math.Abs(at) < farthest) {
			break
		}
		if math.Abs(move) < 1e-7 {
			return at, nil
		}
	}
	return 0, fmt.Errorf("indicate: DeadCentre: the compression fits with no shift within 20 deg")
}
