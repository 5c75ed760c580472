package trust

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"phasebench/scenarios/reader"
)

// clear is how far from the target a true LPP must be for its side to matter [rad].
const clear = 3 * deg

// wrongSide tells whether a reading is on the other side of aim than the truth,
// which is clear of it, is of target.
func wrongSide(o *observation, target, aim float64) bool {
	switch {
	case o.truth < target-clear:
		return o.read > aim
	case o.truth > target+clear:
		return o.read < aim
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
	aim := p.aim(all)
	for k := range all {
		wrong, readings := 0., 0.
		for i := range seen[k] {
			o := &seen[k][i]
			if math.IsNaN(o.read) {
				continue
			}
			readings++
			if wrongSide(o, p.Target, aim) {
				wrong++
			}
		}
		if readings > 1 {
			all[k].Wrong = wrong / readings
		}
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

// aim is what a reader reads on the mean where the true peak is on target: what a
// loop with that reader has to hold, its bias included. It is the target itself
// where nothing is read.
func (p *Plan) aim(cells []Cell) float64 {
	best := -1
	for k := range cells {
		if off := math.Abs(cells[k].Truth - p.Target); !math.IsNaN(cells[k].Read) && (best < 0 || off < math.Abs(cells[best].Truth-p.Target)) {
			best = k
		}
	}
	if best < 0 {
		return p.Target
	}
	a := &cells[best]
	for _, k := range []int{best - 1, best + 1} { // on the line to the cell on the other side of the target
		if k < 0 || k >= len(cells) || math.IsNaN(cells[k].Read) {
			continue
		}
		b := &cells[k]
		if (a.Truth-p.Target)*(b.Truth-p.Target) < 0 {
			return a.Read + (b.Read-a.Read)*(p.Target-a.Truth)/(b.Truth-a.Truth)
		}
	}
	return a.Read
}

func (p *Plan) cell(spark float64, seen []observation) Cell {
	nan := math.NaN()
	c := Cell{Spark: spark, Truth: nan, TruthSD: nan, Read: nan, SD: nan, Bias: nan, Error: nan, Averaged: nan, Declined: nan, Correlation: nan, Wrong: nan}
	if len(seen) < 2 {
		return c
	}
	var truth, read, of []float64
	readings := 0.
	for i := range seen {
		o := &seen[i]
		if !math.IsNaN(o.truth) {
			truth = append(truth, o.truth)
		}
		if math.IsNaN(o.read) {
			continue
		}
		readings++
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
// their mean to be within 1 deg of its own long mean in 95 of 100 cases, at the
// spark nearest to MBT.
func needed(n *Node) float64 {
	if math.IsNaN(n.MBT) || math.IsNaN(n.AtMBT().SD) {
		return math.NaN()
	}
	return float64(reader.Needed(n.AtMBT().SD, 1*deg))
}
