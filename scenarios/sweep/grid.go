package sweep

import (
	"math"

	"phasebench/model"
)

// Grid is a field of operating points, solved.
type Grid struct {
	Operating model.Operating // what all nodes share: everything but speed, MAP and spark
	Speeds    []float64       // [rad/s], rising
	MAPs      []float64       // [Pa], rising
	LPP       float64         // the LPP that is held where holding it is charged for [rad]
	CA50      float64         // the same of CA50 [rad]
	Nodes     []Node          // all MAPs of the first speed, then those of the next
}

// At is the node at Speeds[i] and MAPs[j].
func (g *Grid) At(i, j int) *Node { return &g.Nodes[i*len(g.MAPs)+j] }

// Node is one operating point of a Grid. Numbers that it does not have are
// NaN.
type Node struct {
	Speed, MAP float64 // [rad/s], [Pa]
	MBT        Point
	Knock      Limit
	HeldLPP    Point  // at the spark that puts LPP at Grid.LPP
	HeldCA50   Point  // at the spark that puts CA50 at Grid.CA50
	Err        string // why there is no MBT; "": there is one
}

// LPPCostTorque is the brake torque lost by holding LPP in place of MBT [N·m].
func (n *Node) LPPCostTorque() float64 { return n.MBT.Torque - n.HeldLPP.Torque }

// CA50CostTorque is the brake torque lost by holding CA50 in place of MBT
// [N·m].
func (n *Node) CA50CostTorque() float64 { return n.MBT.Torque - n.HeldCA50.Torque }

// LPPCost is the brake torque lost by holding LPP in place of MBT, over that
// at MBT [-].
func (n *Node) LPPCost() float64 { return n.cost(&n.HeldLPP) }

// CA50Cost is the brake torque lost by holding CA50 in place of MBT, over that
// at MBT [-].
func (n *Node) CA50Cost() float64 { return n.cost(&n.HeldCA50) }

func (n *Node) cost(p *Point) float64 {
	if !(n.MBT.Torque > 0) { // an engine that is dragged has none to lose
		return math.NaN()
	}
	return 1 - p.Torque/n.MBT.Torque
}

// LimitKind tells what a search for the knock limit came to.
type LimitKind int

const (
	Unknown LimitKind = iota // not looked for, or no spark lights the charge
	Limited                  // the limit lies at the spark of the point
	Free                     // no spark knocks; the point is the most advanced one that was looked at
	Always                   // every spark knocks; the point is the most retarded one
)

func (k LimitKind) String() string {
	return [...]string{"unknown", "limited", "free", "always"}[k]
}

// Limit is the most advanced spark without knock.
type Limit struct {
	Point
	Kind LimitKind
}

// Quantity is a number of a Node, in the unit that a person reads.
type Quantity int

const (
	SparkMBT Quantity = iota
	LPPAtMBT
	CA50AtMBT
	TorqueAtMBT
	KnockLimited
	CostOfLPP
	CostOfCA50
)

var quantities = []struct {
	name, title, unit string
	value             func(*Node) float64
}{
	{"mbt", "MBT spark advance", "deg before TDC", func(n *Node) float64 { return n.MBT.Operating.Spark / deg }},
	{"lpp", "LPP at MBT", "deg after TDC", func(n *Node) float64 { return n.MBT.LPP / deg }},
	{"ca50", "CA50 at MBT", "deg after TDC", func(n *Node) float64 { return n.MBT.CA50 / deg }},
	{"torque", "brake torque at MBT", "N·m", func(n *Node) float64 { return n.MBT.Torque }},
	{"knock", "knock-limited spark advance", "deg before TDC", func(n *Node) float64 {
		if n.Knock.Kind != Limited {
			return math.NaN()
		}
		return n.Knock.Operating.Spark / deg
	}},
	{"lpp-cost", "torque lost by holding LPP", "% of MBT", func(n *Node) float64 { return 100 * n.LPPCost() }},
	{"ca50-cost", "torque lost by holding CA50", "% of MBT", func(n *Node) float64 { return 100 * n.CA50Cost() }},
}

// Quantities lists all of them.
func Quantities() []Quantity {
	all := make([]Quantity, len(quantities))
	for i := range all {
		all[i] = Quantity(i)
	}
	return all
}

// QuantityByName finds a Quantity by its String.
func QuantityByName(name string) (Quantity, bool) {
	for i := range quantities {
		if quantities[i].name == name {
			return Quantity(i), true
		}
	}
	return 0, false
}

// String is a short name, such as "lpp-cost".
func (q Quantity) String() string { return quantities[q].name }

// Title says what q is.
func (q Quantity) Title() string { return quantities[q].title }

// Unit is the unit of Value.
func (q Quantity) Unit() string { return quantities[q].unit }

// Value is q of n; NaN where n has none.
func (q Quantity) Value(n *Node) float64 {
	if n.Err != "" {
		return math.NaN()
	}
	return quantities[q].value(n)
}
