package trust

import "math"

// Rank is what one reader is worth over all nodes.
type Rank struct {
	Reader   string
	Error    float64 // rms of single readings within rankSpan of MBT [rad]
	Averaged float64 // rms of means of 16 readings there [rad]
	Declined float64 // share of cycles there without a reading [-]
	Wrong    float64 // share of readings at any spark on the wrong side [-]
	Span     float64 // mean over nodes of the spark between the flips, or the ends of what was looked at [rad]
	Cost     float64 // mean time of a reading [s]
}

const rankSpan = 10 * deg

// Ranking returns the ranks of the readers in the order of the plan.
func (m *Map) Ranking() []Rank {
	var all []Rank
	for _, nodes := range m.Nodes {
		r := Rank{Reader: nodes[0].Reader}
		cells, read, sparks := 0., 0., 0.
		for i := range nodes {
			n := &nodes[i]
			for k := range n.Cells {
				c := &n.Cells[k]
				if !math.IsNaN(c.Wrong) {
					r.Wrong += c.Wrong
					sparks++
				}
				if !(math.Abs(c.Spark-n.MBT) <= rankSpan) {
					continue
				}
				cells++
				r.Declined += c.Declined
				if !math.IsNaN(c.Error) && !math.IsNaN(c.Averaged) {
					r.Error += c.Error * c.Error
					r.Averaged += c.Averaged * c.Averaged
					read++
				}
			}
			r.Span += n.span() / float64(len(nodes))
			r.Cost += n.Cost / float64(len(nodes))
		}
		r.Error, r.Averaged, r.Declined, r.Wrong = math.Sqrt(r.Error/read), math.Sqrt(r.Averaged/read), r.Declined/cells, r.Wrong/sparks
		all = append(all, r)
	}
	return all
}

// span is the spark between the flips of n, 0 where it can be believed nowhere.
func (n *Node) span() float64 {
	from, to := n.Cells[0].Spark, n.Cells[len(n.Cells)-1].Spark
	if n.Advanced.How == Nowhere || math.IsNaN(n.MBT) {
		return 0
	}
	if n.Retarded.How != "" {
		from = n.Retarded.Spark
	}
	if n.Advanced.How != "" {
		to = n.Advanced.Spark
	}
	return math.Max(0, to-from)
}

// AtMBT is the cell whose spark is nearest to MBT; the middle one if there is no MBT.
func (n *Node) AtMBT() *Cell {
	if math.IsNaN(n.MBT) {
		return &n.Cells[len(n.Cells)/2]
	}
	return &n.Cells[nearest(n.Cells, n.MBT)]
}
