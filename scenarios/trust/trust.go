// Package trust lays a reader over the whole field of spark, speed and load and
// tells where it can be believed: how far its readings are from the truth, how
// much they scatter, how often it declines, and beyond which spark, on either side,
// it reports the wrong side of a target, or moves the wrong way as the spark does.
// There a loop that follows it runs away.
//
// Each of these flips is put down to its cause by doing without: the same cycles
// are read once more with one possible cause switched off, and the flip moves or
// it does not.
package trust

import (
	"context"
	"fmt"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"phasebench/model"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

const deg = math.Pi / 180

// Plan says what is looked at.
type Plan struct {
	Engine       *model.Engine // its point gives what the plan does not say
	Speeds, MAPs []float64     // shaft speeds [rad/s] and manifold pressures [Pa], ascending
	Sparks       []float64     // spark advances [rad], ascending
	Cycles       int           // of each spark that count, 100 to 100,000
	Seed         uint64
	Signal       reader.Signal
	Trailing     bool             // of an ion signal: that of the trailing plug
	Setup        sensor.Setup     // must have the sensor of that signal, in angle base
	Readers      []string         // names; Outside stands for the program
	Program      []string         // of the reader Outside, with its arguments
	Limit        time.Duration    // that it has for one cycle
	Settings     *reader.Settings // nil: reader.Usual
	Target       float64          // LPP that is wanted [rad]; a loop holds what the reader reads there, see Node.Aim
	Causes       bool             // find the causes of flips; of the first reader
	Workers      int              // nodes at once; results do not depend on it
}

// Outside is the name of a reader that is another program, see reader.StartOutside.
const Outside = "outside"

// settle is how many cycles after a change of spark do not count.
const settle = 16

// Cell is one spark at one node, as one reader sees it. A number that it has not
// is NaN.
type Cell struct {
	Spark       float64 // [rad]
	Truth       float64 // mean of the true LPP [rad]
	TruthSD     float64 // its standard deviation [rad]
	Read        float64 // mean of the readings [rad]
	SD          float64 // their standard deviation [rad]
	Bias        float64 // mean of reading less truth [rad]
	Error       float64 // rms of reading less truth [rad]
	Averaged    float64 // rms of the error of means of 16 readings [rad]
	Declined    float64 // share of cycles without a reading [-]
	Correlation float64 // of reading and truth [-]
	Slope       float64 // d(read)/d(spark) between the neighbours [-]; right if not positive
	SlopeError  float64 // its standard error [-]
	Wrong       float64 // share of readings on the wrong side of Node.Aim [-]
}

// Node is one operating point as one reader sees it.
type Node struct {
	Reader   string
	Speed    float64 // [rad/s]
	MAP      float64 // [Pa]
	MBT      float64 // [rad]; NaN: none
	Aim      float64 // mean reading where the true peak is on target [rad]
	Cells    []Cell
	Advanced Flip // on the side of more advance than MBT
	Retarded Flip
	Safe     Range   // of spark in which a loop may run
	Needed   float64 // cycles to average for ±1 deg at 95 %, where the spark is nearest to MBT
	Cost     float64 // of a reading [s]; depends on the machine
}

// Map is what came of a plan: for every reader, nodes by speed, then by load.
type Map struct {
	Plan  *Plan
	Nodes [][]Node
}

// Check returns a *model.Problem about what is not allowed, or nil.
func (p *Plan) Check() error {
	bad := func(key string, given any, want string) error {
		return &model.Problem{Key: key, Given: fmt.Sprint(given), Want: want}
	}
	switch {
	case p.Cycles < 100 || p.Cycles > 100_000:
		return bad("cycles", p.Cycles, "100 to 100000")
	case len(p.Speeds) == 0 || len(p.MAPs) == 0 || len(p.Sparks) < 3:
		return bad("sparks", len(p.Sparks), "three or more, at one operating point or more")
	case len(p.Readers) == 0:
		return bad("reader", "none", "a name")
	case !(p.Target > -math.Pi/4 && p.Target < math.Pi/4):
		return bad("target_deg_atdc", p.Target/deg, "between -45 and 45 deg")
	case p.Setup.Sampling.RateHz != 0:
		return bad("adc_rate_hz", p.Setup.Sampling.RateHz, "samples at angles")
	}
	for i := 1; i < len(p.Sparks); i++ {
		if !(p.Sparks[i] > p.Sparks[i-1]) {
			return bad("sparks", p.Sparks[i]/deg, "ascending")
		}
	}
	return nil
}

// ready returns a copy of p with what it leaves out, or what Check says.
func (p *Plan) ready() (*Plan, error) {
	plan := *p
	if plan.Settings == nil {
		plan.Settings = reader.UsualFor(plan.Signal, plan.Engine)
	}
	return &plan, plan.Check()
}

// Run carries out p.
func Run(ctx context.Context, p *Plan, progress func(done, total int)) (*Map, error) {
	plan, err := p.ready()
	if err != nil {
		return nil, err
	}
	for _, name := range plan.Readers { // before any work is done
		l, err := newLane(ctx, plan, name, nil)
		if err != nil {
			return nil, err
		}
		if err := l.close(); err != nil {
			return nil, err
		}
	}
	count := len(plan.Speeds) * len(plan.MAPs)
	m := &Map{Plan: plan, Nodes: make([][]Node, len(plan.Readers))}
	for i := range m.Nodes {
		m.Nodes[i] = make([]Node, count)
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var wait sync.WaitGroup
	var next, done atomic.Int64
	var tell sync.Mutex
	for range max(1, min(plan.Workers, count)) {
		wait.Go(func() {
			for i := int(next.Add(1)) - 1; i < count && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				nodes, err := plan.node(ctx, plan.Speeds[i/len(plan.MAPs)], plan.MAPs[i%len(plan.MAPs)])
				if err != nil {
					stop(err)
					return
				}
				for r := range nodes {
					m.Nodes[r][i] = nodes[r]
				}
				if n := int(done.Add(1)); progress != nil {
					tell.Lock()
					progress(n, count)
					tell.Unlock()
				}
			}
		})
	}
	wait.Wait()
	if err := context.Cause(ctx); err != nil {
		return nil, err
	}
	return m, nil
}

// walk has lanes read, at one operating point, the cycles of the sparks from up to
// but without to, and hands every observation that counts to take, with the number
// of its spark and of its lane. The cycle is good until take returns. The stream
// dwells on one spark after the other, whichever of them are asked for.
func (p *Plan) walk(ctx context.Context, speed, mapPa float64, from, to int, lanes []*lane, take func(c *stream.Cycle, spark, lane int, o observation)) error {
	base := p.Engine.Point
	base.Speed, base.MAP = speed, mapPa
	dwell := p.Cycles + settle
	var schedule stream.Schedule
	for i, spark := range p.Sparks {
		op := base
		op.Spark = spark
		schedule = append(schedule, stream.Knot{Cycle: i * dwell, Operating: op}, stream.Knot{Cycle: (i+1)*dwell - 1, Operating: op})
	}
	s, err := stream.New(p.Engine, schedule, &stream.Settings{Seed: p.Seed})
	if err != nil {
		return err
	}
	ch, err := p.Engine.Chamber()
	if err != nil {
		return err
	}
	for c, err := range s.Cycles(ctx, from*dwell, to*dwell) {
		if err != nil {
			return fmt.Errorf("at %.4g rpm and %.4g kPa: %w", speed*30/math.Pi, mapPa/1e3, err)
		}
		k, age := c.Number/dwell, c.Number%dwell
		for i, l := range lanes {
			if age == 0 {
				l.reader.Reset()
			}
			o, err := l.read(c, ch)
			if err != nil {
				return err
			}
			if !c.Warming && age >= settle && o.counts {
				take(c, k, i, o)
			}
		}
	}
	return nil
}

// node looks at one operating point.
func (p *Plan) node(ctx context.Context, speed, mapPa float64) ([]Node, error) {
	var lanes []*lane
	defer func() {
		for _, l := range lanes {
			l.close()
		}
	}()
	for _, name := range p.Readers {
		l, err := newLane(ctx, p, name, nil)
		if err != nil {
			return nil, err
		}
		lanes = append(lanes, l)
	}
	if p.Causes {
		for i := range causes {
			c := &causes[i]
			if c.of != nil && !c.of(p.Signal) {
				continue
			}
			l, err := newLane(ctx, p, p.Readers[0], c)
			if err != nil {
				return nil, err
			}
			lanes = append(lanes, l)
		}
	}
	seen := make([][][]observation, len(lanes)) // by lane and spark
	for i := range seen {
		seen[i] = make([][]observation, len(p.Sparks))
	}
	mbt := math.NaN()
	err := p.walk(ctx, speed, mapPa, 0, len(p.Sparks), lanes, func(c *stream.Cycle, k, i int, o observation) {
		mbt = c.MBT
		seen[i][k] = append(seen[i][k], o)
	})
	if err != nil {
		return nil, err
	}
	nodes := make([]Node, len(p.Readers))
	for i := range nodes {
		n := &nodes[i]
		*n = Node{Reader: lanes[i].name, Speed: speed, MAP: mapPa, MBT: mbt, Cost: lanes[i].spent / lanes[i].reads}
		n.Cells = p.cells(seen[i])
		n.Aim = p.aim(n.Cells)
		n.Advanced, n.Retarded = flips(n.Cells, mbt)
		n.Safe = n.safe()
		n.Needed = needed(n)
	}
	if p.Causes {
		n := &nodes[0]
		for i, l := range lanes[len(p.Readers):] {
			without := p.cells(seen[len(p.Readers)+i])
			advanced, retarded := flips(without, mbt)
			n.Advanced.blame(l.cause.name, &advanced)
			n.Retarded.blame(l.cause.name, &retarded)
		}
	}
	return nodes, nil
}
