package trust

import (
	"math"
	"time"

	"gonum.org/v1/gonum/stat"

	"phasebench/model/chamber"
	"phasebench/scenarios/stream"
)

// timed is read with the time that it took [s].
func (l *lane) timed(c *stream.Cycle, ch chamber.Chamber) (observation, float64, error) {
	start := time.Now()
	o, err := l.read(c, ch)
	return o, time.Since(start).Seconds(), err
}

// clear is how far from the target a true LPP must be for its side to matter [rad].
const clear = 3 * deg

// wrongSide tells whether a reading is on the other side of the target than the
// truth, which is clear of it.
func wrongSide(o *observation, target float64) bool {
	switch {
	case o.truth < target-clear:
		return o.read > target
	case o.truth > target+clear:
		return o.read < target
	}
	return false
}

// block is how many readings Averaged is about.
const block = 16

// cells sums up the observations of every spark.
func (p *Plan) cells(seen [][]observation) []Cell {
	all := make([]Cell, len(p.Sparks))
	for k := range all {
		all[k] = p.cell(p.Sparks[k], seen[k])
	}
	for k := range all {
		a, b := max(0, k-1), min(len(all)-1, k+1)
		c := &all[k]
		over := all[b].Spark - all[a].Spark
		c.Slope = (all[b].Read - all[a].Read) / over
		spread := func(i int) float64 {
			n := float64(len(seen[i])) * (1 - all[i].Declined)
			return all[i].SD * all[i].SD / n
		}
		c.SlopeError = math.Sqrt(spread(a)+spread(b)) / over
	}
	return all
}

func (p *Plan) cell(spark float64, seen []observation) Cell {
	nan := math.NaN()
	c := Cell{Spark: spark, Truth: nan, TruthSD: nan, Read: nan, SD: nan, Bias: nan, Error: nan, Averaged: nan, Declined: nan, Correlation: nan, Wrong: nan}
	if len(seen) < 2 {
		return c
	}
	var truth, read, of []float64
	wrong, readings := 0., 0.
	for i := range seen {
		o := &seen[i]
		if !math.IsNaN(o.truth) {
			truth = append(truth, o.truth)
		}
		if math.IsNaN(o.read) {
			continue
		}
		readings++
		if wrongSide(o, p.Target) {
			wrong++
		}
		if !math.IsNaN(o.truth) {
			read, of = append(read, o.read), append(of, o.truth)
		}
	}
	c.Declined = 1 - readings/float64(len(seen))
	if len(truth) > 1 {
		c.Truth, c.TruthSD = stat.MeanStdDev(truth, nil)
	}
	if len(read) < 2 {
		return c
	}
	c.Read, c.SD = stat.MeanStdDev(read, nil)
	c.Wrong = wrong / readings
	c.Correlation = stat.Correlation(read, of, nil)
	sum, squares, mean, means, blocks := 0., 0., 0., 0., 0.
	for i := range read {
		e := read[i] - of[i]
		sum += e
		squares += e * e
		if mean += e / block; i%block == block-1 {
			means += mean * mean
			blocks++
			mean = 0
		}
	}
	n := float64(len(read))
	c.Bias, c.Error = sum/n, math.Sqrt(squares/n)
	if blocks > 0 {
		c.Averaged = math.Sqrt(means / blocks)
	}
	return c
}

// nearest is the cell whose spark is nearest to spark [rad].
func nearest(cells []Cell, spark float64) int {
	best := 0
	for i := range cells {
		if math.Abs(cells[i].Spark-spark) < math.Abs(cells[best].Spark-spark) {
			best = i
		}
	}
	return best
}

// needed is how many readings, independent of each other, must be averaged for
// their mean to be within 1 deg of its own long mean in 95 of 100 cases:
// (1.96·sd/1 deg)².
func needed(n *Node) float64 {
	if math.IsNaN(n.MBT) {
		return math.NaN()
	}
	return math.Ceil(math.Pow(1.96*n.Cells[nearest(n.Cells, n.MBT)].SD/deg, 2))
}
