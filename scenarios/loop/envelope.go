package loop

import (
	"context"
	"errors"
	"math"
	"slices"
	"sync"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/trust"
)

// The field that an envelope is found in: sparks from envelopeFrom to envelopeTo
// [rad], and cycles of each. Our own choice.
const (
	envelopeFrom   = -10 * deg
	envelopeTo     = 60 * deg
	envelopeStep   = 5 * deg
	envelopeCycles = 100
)

// Envelope is where a reader can be believed at some operating points.
type Envelope struct{ Nodes []Node }

// Node is one operating point of an Envelope.
type Node struct {
	Speed, MAP float64       // [rad/s], [Pa]
	MBT        float64       // [rad]; NaN: none
	Safe       control.Range // both NaN: nowhere
}

// At implements control.Envelope: what the nodes about the point have in common, or
// the nearest where none are about it in one direction. It is nowhere if one of
// them is.
func (e *Envelope) At(speed, mapPa float64) control.Range {
	about := func(of func(*Node) float64, x float64) (low, high float64) {
		low, high = math.Inf(-1), math.Inf(1)
		least, most := math.Inf(1), math.Inf(-1)
		for i := range e.Nodes {
			v := of(&e.Nodes[i])
			least, most = math.Min(least, v), math.Max(most, v)
			if v <= x*(1+slack) {
				low = math.Max(low, v)
			}
			if v >= x*(1-slack) {
				high = math.Min(high, v)
			}
		}
		return math.Max(low, least), math.Min(high, most)
	}
	s0, s1 := about(func(n *Node) float64 { return n.Speed }, speed)
	m0, m1 := about(func(n *Node) float64 { return n.MAP }, mapPa)
	out := control.Range{From: math.Inf(-1), To: math.Inf(1)}
	found := false
	for i := range e.Nodes {
		n := &e.Nodes[i]
		if (n.Speed == s0 || n.Speed == s1) && (n.MAP == m0 || n.MAP == m1) {
			found = true
			out.From, out.To = math.Max(out.From, n.Safe.From), math.Min(out.To, n.Safe.To)
		}
	}
	if !found || !(out.From < out.To) {
		return control.Range{From: math.NaN(), To: math.NaN()}
	}
	return out
}

// slack is how far from a node, relative, still counts as at it: speeds scatter from
// cycle to cycle.
const slack = 0.02

// envelope lays the reader of s over the speeds and loads of s, through its
// instruments without a fault, in dry air and with walls and fuel of the engine file.
func (s *Scenario) envelope(ctx context.Context) (*Envelope, error) {
	return new(nodes).envelope(ctx, s)
}

// view is all that a Node depends on.
type view struct {
	engine   *model.Engine
	op       model.Operating
	target   float64
	signal   reader.Signal
	reader   string
	settings reader.Settings
	pressure bool
}

// nodes keeps the nodes of envelopes, so that scenarios of one controller at the same
// operating points pay for each once. Many goroutines may use it at once.
type nodes struct {
	mu  sync.Mutex
	all map[view]func() (Node, error)
}

// envelope is the envelope of s; ctx is that of everybody who uses c.
func (c *nodes) envelope(ctx context.Context, s *Scenario) (*Envelope, error) {
	v := view{engine: s.Engine, op: s.Legs[0].Operating, target: s.Legs[0].Target, signal: s.Sensing.Signal, reader: s.Sensing.Reader, pressure: s.Sensing.Pressure}
	v.op.Spark, v.op.Humidity, v.op.WallShift, v.op.OctaneShift = 0, 0, 0, 0
	v.settings = *reader.UsualFor(v.signal, s.Engine)
	if s.Sensing.Settings != nil {
		v.settings = *s.Sensing.Settings
	}
	setup := s.setup()
	setup.Faults, setup.Trailing, setup.Knock = nil, nil, nil
	speeds, maps := s.places()
	e := &Envelope{Nodes: make([]Node, len(speeds)*len(maps))}
	errs := make([]error, len(e.Nodes))
	var wait sync.WaitGroup
	for i := range e.Nodes {
		v.op.Speed, v.op.MAP = speeds[i/len(maps)], maps[i%len(maps)]
		node := c.get(ctx, v, setup)
		wait.Go(func() { e.Nodes[i], errs[i] = node() })
	}
	wait.Wait()
	return e, errors.Join(errs...)
}

// places lists the speeds and manifold pressures of s, ascending.
func (s *Scenario) places() (speeds, maps []float64) {
	for i := range s.Legs {
		speeds, maps = append(speeds, s.Legs[i].Operating.Speed), append(maps, s.Legs[i].Operating.MAP)
	}
	slices.Sort(speeds)
	slices.Sort(maps)
	return slices.Compact(speeds), slices.Compact(maps)
}

// get returns what finds the node of v, once.
func (c *nodes) get(ctx context.Context, v view, setup sensor.Setup) func() (Node, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.all == nil {
		c.all = map[view]func() (Node, error){}
	}
	if c.all[v] == nil {
		c.all[v] = sync.OnceValues(func() (Node, error) { return v.node(ctx, setup) })
	}
	return c.all[v]
}

// node finds the node of v.
func (v *view) node(ctx context.Context, setup sensor.Setup) (Node, error) {
	engine := *v.engine
	engine.Point = v.op
	engine.Point.Speed, engine.Point.MAP = v.engine.Point.Speed, v.engine.Point.MAP // readers may begin there, as they do in the loop
	p := &trust.Plan{
		Engine: &engine, Cycles: envelopeCycles, Seed: 1, Signal: v.signal, Setup: setup, Readers: []string{v.reader},
		Settings: &v.settings, Target: v.target, Workers: 1, Speeds: []float64{v.op.Speed}, MAPs: []float64{v.op.MAP},
	}
	for spark := envelopeFrom; spark < envelopeTo+envelopeStep/2; spark += envelopeStep {
		op := engine.Point
		if op.Spark = spark; op.Check(&engine) == nil {
			p.Sparks = append(p.Sparks, spark)
		}
	}
	m, err := trust.Run(ctx, p, nil)
	if err != nil {
		return Node{}, err
	}
	n := &m.Nodes[0][0]
	return Node{n.Speed, n.MAP, n.MBT, control.Range{From: n.Safe.From, To: n.Safe.To}}, nil
}
