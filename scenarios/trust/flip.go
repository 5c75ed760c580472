package trust

import "math"

// mostWrong is the share of readings on the wrong side that a flip begins with.
const mostWrong = 0.05

// A slope is wrong if it is positive by so many of its standard errors and by so
// much: 1 in 700 right ones looks like that.
const (
	surely    = 3
	leastTilt = 0.1 // [-]
)

// How readings mislead.
const (
	BySide  = "side"    // too many are on the wrong side of the target
	BySlope = "slope"   // they move the wrong way as the spark does
	Nowhere = "nowhere" // the reader cannot be believed anywhere near MBT
)

// Flip is the spark beyond which readings mislead.
type Flip struct {
	Spark  float64 // [rad]; NaN: none in what was looked at; MBT if How is Nowhere
	How    string  // BySide, BySlope or Nowhere; "" without a flip
	Causes []Cause // without which it moves, the greatest move first
	side   int     // 1: advanced, -1: retarded
}

// Cause is one thing without which a flip moves.
type Cause struct {
	Name  string
	Moves float64 // away from MBT so far [rad]; +Inf: the flip is gone
}

// leastMove is what counts as a move [rad].
const leastMove = 2 * deg

// blame adds name to the causes of f if without it the flip is where without says.
func (f *Flip) blame(name string, without *Flip) {
	if math.IsNaN(f.Spark) {
		return
	}
	moves := math.Inf(1)
	if !math.IsNaN(without.Spark) {
		moves = math.Abs(without.Spark - f.Spark)
		if (without.Spark > f.Spark) != (f.side > 0) {
			moves = -moves
		}
	}
	if moves < leastMove {
		return
	}
	i := 0
	for i < len(f.Causes) && f.Causes[i].Moves >= moves {
		i++
	}
	f.Causes = append(f.Causes, Cause{})
	copy(f.Causes[i+1:], f.Causes[i:])
	f.Causes[i] = Cause{name, moves}
}

// near is how far from MBT a reader that is believed must begin [rad] (our own choice).
const near = 15 * deg

// flips finds where readings begin to mislead on either side of MBT, or of the
// spark nearest to it at which the reader can be believed.
func flips(cells []Cell, mbt float64) (advanced, retarded Flip) {
	advanced, retarded = Flip{Spark: math.NaN(), side: 1}, Flip{Spark: math.NaN(), side: -1}
	if math.IsNaN(mbt) {
		return advanced, retarded
	}
	at := believed(cells, mbt)
	if at < 0 {
		advanced.Spark, advanced.How = mbt, Nowhere
		retarded.Spark, retarded.How = mbt, Nowhere
		return advanced, retarded
	}
	return flip(cells, at, 1), flip(cells, at, -1)
}

// believed is the cell nearest to MBT whose readings mislead seldom enough; -1: none.
func believed(cells []Cell, mbt float64) int {
	best := -1
	for i := range cells {
		if away := math.Abs(cells[i].Spark - mbt); cells[i].Wrong <= mostWrong && away <= near &&
			(best < 0 || away < math.Abs(cells[best].Spark-mbt)) {
			best = i
		}
	}
	return best
}

// flip looks from cell at outward.
func flip(cells []Cell, at, side int) Flip {
	f := Flip{Spark: math.NaN(), side: side}
	for k := at + side; k >= 0 && k < len(cells); k += side {
		c, nearer := &cells[k], &cells[k-side]
		if c.Wrong > mostWrong { // on the line between the two
			f.Spark, f.How = c.Spark, BySide
			if nearer.Wrong <= mostWrong {
				f.Spark = nearer.Spark + (c.Spark-nearer.Spark)*(mostWrong-nearer.Wrong)/(c.Wrong-nearer.Wrong)
			}
			return f
		}
		if c.Slope > leastTilt && c.Slope > surely*c.SlopeError {
			f.Spark, f.How = c.Spark, BySlope
			return f
		}
	}
	return f
}

// Range is one of spark advance [rad]; NaN: there is none.
type Range struct{ From, To float64 }

// margin is how far inside flips a loop has to stay [rad] (our own choice).
const margin = 3 * deg

// mostDeclined is the share of cycles without a reading with which a loop can do.
const mostDeclined = 0.5

// safe is the range about MBT in which a loop may run: inside both flips by the
// margin, and where the reader reads at all. A range without MBT is none: the
// loop would leave it.
func (n *Node) safe() Range {
	nan := Range{math.NaN(), math.NaN()}
	if math.IsNaN(n.MBT) {
		return nan
	}
	at := believed(n.Cells, n.MBT)
	reads := func(k int) bool { return k >= 0 && k < len(n.Cells) && n.Cells[k].Declined <= mostDeclined }
	if at < 0 || !reads(at) {
		return nan
	}
	low, high := at, at
	for reads(low - 1) {
		low--
	}
	for reads(high + 1) {
		high++
	}
	r := Range{n.Cells[low].Spark, n.Cells[high].Spark}
	if f := n.Advanced.Spark; !math.IsNaN(f) {
		r.To = math.Min(r.To, f-margin)
	}
	if f := n.Retarded.Spark; !math.IsNaN(f) {
		r.From = math.Max(r.From, f+margin)
	}
	if !(r.From <= n.MBT && n.MBT <= r.To) {
		return nan
	}
	return r
}
