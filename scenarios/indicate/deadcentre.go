package indicate

import (
	"errors"
	"fmt"
	"math"

	"phasebench/model"
	"phasebench/model/chamber"
	"phasebench/solve"
)

// How dead centre is looked for. Our own choice.
const (
	humpHalf      = 15 * deg // half the width of the polynomial through the motored hump
	farthest      = 20 * deg // a recording is not that far off
	blocks        = 10       // of cycles, to tell scatter
	steadyMotored = 1e-7     // relative change of a motored charge from cycle to cycle
	flankHalf     = 4 * deg  // half the width of the parabola through a flank

	// lossError is the standard error of the model's loss angle, as a share of it: heat to
	// the walls is not known better.
	lossError = 0.3

	// measuredLoss is the greatest that was measured (literature section 7: 0.4 to 1.3 deg).
	measuredLoss = 1.3 * deg
)

// heights are those of pairs of equal pressure, as shares of the hump's own.
var heights = [...]float64{0.5, 0.6, 0.7, 0.8, 0.9}

// DeadCentre finds by how much the angles of a recording are off, from the pressure
// alone. It adds up cycles in flat memory, for Motored or for Fired; a cycle is one as
// Indicator.Cycle takes it, its zero does not matter.
type DeadCentre struct {
	engine  *model.Engine
	op      model.Operating
	chamber chamber.Chamber
	theta   []float64
	sum     [blocks][]float64
	cycles  int
}

// Centre is dead centre found one way.
type Centre struct {
	// TDC is the recorded angle of dead centre [rad]: what is to be given as
	// Settings.Shift, with its whole standard error.
	TDC    Number
	Random float64 // its part from the scatter of the cycles, which falls with their number [rad]
	// Loss is what the model says of the way: where a recording without error has what was
	// looked for (negative: before dead centre), and how far that can be trusted [rad].
	Loss Number
	// Worst is how much earlier still the pressure may be than the model says, if the engine
	// loses as much as any that was measured [rad]; NaN of Fired.
	Worst float64
}

// Located is dead centre found from motored cycles in two ways.
type Located struct {
	Cycles   int
	Peak     Centre // by the angle of greatest pressure; it leans less on the model
	Symmetry Centre // by the middle of pairs of equal pressure, half way up the hump and more; it scatters less
	// Agree tells that the two are no farther apart than two standard errors: those of both
	// scatters, and of the difference of what the model says of them.
	Agree bool
}

// NewDeadCentre returns an empty one for e where op says it ran.
func NewDeadCentre(e *model.Engine, op *model.Operating) (*DeadCentre, error) {
	c, err := e.Chamber()
	if err != nil {
		return nil, err
	}
	if err := op.Check(e); err != nil {
		return nil, err
	}
	return &DeadCentre{engine: e, op: *op, chamber: c}, nil
}

// Add takes a cycle: p [Pa] at evenly spaced angles theta [rad], the same for all.
func (d *DeadCentre) Add(theta, p []float64) error {
	if len(theta) < 90 || len(p) != len(theta) {
		return fmt.Errorf("indicate: %d angles and %d pressures, want 90 or more of each", len(theta), len(p))
	}
	if d.theta == nil {
		d.theta = append([]float64(nil), theta...)
		for b := range d.sum {
			d.sum[b] = make([]float64, len(theta))
		}
	}
	if len(theta) != len(d.theta) || theta[0] != d.theta[0] {
		return fmt.Errorf("indicate: DeadCentre: %d angles from %.4g deg, want %d from %.4g deg as before", len(theta), theta[0]/deg, len(d.theta), d.theta[0]/deg)
	}
	for i, v := range p {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("indicate: DeadCentre: pressure %g at %.4g deg", v, theta[i]/deg)
		}
	}
	to := d.sum[d.cycles%blocks]
	for i, v := range p {
		to[i] += v
	}
	d.cycles++
	return nil
}

// Motored finds dead centre of motored cycles in two ways: by where the pressure is
// greatest, of a polynomial over 15 deg either way, and by the middle between equal
// pressures at five heights; both less what the same does to motored cycles of the model
// at that speed and load.
//
// Heat to the walls and what leaks make the pressure greatest before dead centre: by 0.1
// to 0.15 deg, says our model of the pump set, which leaks little; 30 % of that are taken
// for its error (our own choice: heat to the walls is known no better). Measured losses
// are greater, 0.4 to 1.3 deg by engine (by a microwave TDC sensor, literature section
// 7): Worst tells how far off a leaking engine may be, which the standard error does not.
// The model motors on fresh charge with its fuel.
//
// Cycles of a fired engine that misfired are motored cycles; see Fired without them.
func (d *DeadCentre) Motored() (Located, error) {
	m, err := d.motored()
	if err != nil {
		return Located{}, err
	}
	out := Located{Cycles: d.cycles}
	for _, way := range []struct {
		to *Centre
		of func(theta, p []float64) (float64, error)
	}{{&out.Peak, hump}, {&out.Symmetry, middle}} {
		loss, err := way.of(m.Theta, m.Pressure)
		if err != nil {
			return out, fmt.Errorf("%w, in the model's cycle", err)
		}
		at, random, err := d.scattered(way.of)
		if err != nil {
			return out, err
		}
		*way.to = Centre{TDC: Number{at - loss, math.Hypot(random, lossError*loss)}, Random: random, Loss: Number{loss, math.Abs(lossError * loss)}, Worst: measuredLoss + loss}
	}
	a, b := &out.Peak, &out.Symmetry
	apart := math.Hypot(math.Hypot(a.Random, b.Random), a.Loss.Error-b.Loss.Error)
	out.Agree = math.Abs(a.TDC.Value-b.TDC.Value) <= 2*apart
	return out, nil
}

// motored is the model's periodic cycle without a spark.
func (d *DeadCentre) motored() (*solve.Cycle, error) {
	s, err := solve.New(d.engine, nil)
	if err != nil {
		return nil, err
	}
	carry, err := s.Settle(&d.op)
	if err != nil {
		return nil, err
	}
	var c solve.Cycle
	const most = 60
	for range most {
		before, _, _ := carry.Charge()
		if carry, err = s.Next(&d.op, &carry, &solve.Variation{Development: 1, Rapid: 1}, &c); err != nil {
			return nil, err
		}
		if now, _, _ := carry.Charge(); math.Abs(now-before) < steadyMotored*now {
			return &c, nil
		}
	}
	return nil, fmt.Errorf("indicate: a motored cycle does not become periodic in %d cycles", most)
}

// scattered is what of makes of the mean of all cycles, and its standard error by leaving
// out one block of them after the other (the jackknife: Quenouille 1949, Tukey 1958, from
// memory).
func (d *DeadCentre) scattered(of func(theta, p []float64) (float64, error)) (at, random float64, err error) {
	used := min(blocks, d.cycles)
	if used < 2 {
		return 0, 0, fmt.Errorf("indicate: DeadCentre: %d cycles, want 2 or more", d.cycles)
	}
	all, p := make([]float64, len(d.theta)), make([]float64, len(d.theta))
	for _, block := range d.sum {
		for i, v := range block {
			all[i] += v
		}
	}
	for i := range p {
		p[i] = all[i] / float64(d.cycles)
	}
	if at, err = of(d.theta, p); err != nil {
		return 0, 0, err
	}
	var without series
	for b := range used {
		count := d.cycles/blocks + 1
		if b >= d.cycles%blocks {
			count--
		}
		for i := range p {
			p[i] = (all[i] - d.sum[b][i]) / float64(d.cycles-count)
		}
		v, err := of(d.theta, p)
		if err != nil {
			return 0, 0, err
		}
		without.add(v)
	}
	n := float64(used)
	return at, without.sd() * (n - 1) / math.Sqrt(n), nil
}

var errNoHump = errors.New("indicate: DeadCentre: no hump of a motored cycle within 20 deg of dead centre")

// hump is where the pressure is greatest [rad]: of a polynomial of fourth degree over 15
// deg either way, which is laid about its own maximum.
func hump(theta, p []float64) (float64, error) {
	at := 0.
	for range 4 {
		from, to := within(theta, at-humpHalf, at+humpHalf)
		c := polynomial(theta[from:to], p[from:to], at, humpHalf, 4)
		u := 0.
		for range 20 {
			slope, bend := c[1]+u*(2*c[2]+u*(3*c[3]+u*4*c[4])), 2*c[2]+u*(6*c[3]+u*12*c[4])
			if !(bend < 0) {
				return 0, errNoHump
			}
			u = math.Max(-1, math.Min(1, u-slope/bend))
		}
		if at += u * humpHalf; !(math.Abs(at) < farthest) {
			return 0, errNoHump
		}
	}
	return at, nil
}

// middle is the mean over heights of the middle between the angles before and after the
// hump where the pressure has that share of its height above that about bottom dead
// centre before compression [rad].
func middle(theta, p []float64) (float64, error) {
	at, err := hump(theta, p)
	if err != nil {
		return 0, err
	}
	low, top := 0., 0.
	from, to := within(theta, at+InletFrom, at+InletTo)
	for _, v := range p[from:to] {
		low += v / float64(to-from)
	}
	from, to = within(theta, at-humpHalf, at+humpHalf)
	top = polynomial(theta[from:to], p[from:to], at, humpHalf, 4)[0]
	sum := 0.
	for _, h := range heights {
		level := low + h*(top-low)
		for _, way := range []int{-1, 1} {
			i, _ := within(theta, at, at)
			for i > 0 && i < len(p)-1 && p[i] > level {
				i += way
			}
			if math.Abs(theta[i]-at) > math.Pi/2 {
				return 0, errNoHump
			}
			near := theta[i]
			for range 3 { // about where it passes, so that the same samples count whatever the noise
				from, to := within(theta, near-flankHalf, near+flankHalf)
				c := polynomial(theta[from:to], p[from:to], near, flankHalf, 2)
				u := 0.
				for range 10 {
					u -= (c[0] + u*(c[1]+u*c[2]) - level) / (c[1] + 2*u*c[2])
				}
				if !(math.Abs(u) < 2) {
					return 0, errNoHump
				}
				near += u * flankHalf
			}
			sum += near
		}
	}
	return sum / (2 * float64(len(heights))), nil
}
