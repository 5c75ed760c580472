package stream

import (
	"context"
	"math"

	"phasebench/model"
	"phasebench/solve"
	"phasebench/wiebe"
)

// chain makes one cycle after another.
type chain struct {
	stream *Stream
	seed   uint64
	steer  Steer // nil: none
	direct *direct
	begun  bool
	carry  solve.Carry
	shape  shape
	value  []float64 // of the cycle made last, see shape
	before []float64 // of the one before
	work   []float64 // weights of pressure in the work of a row [m³]
	grossW []float64
	out    Cycle
}

// begin makes everything ready for cycle n.
func (c *chain) begin(n int) error {
	s := c.stream
	op, _ := s.schedule.At(n)
	p, err := s.point(c.direct, op)
	if err != nil {
		return err
	}
	c.carry, c.shape = p.mean, p.surface.shape
	c.value, c.before = make([]float64, c.shape.length()), make([]float64, c.shape.length())
	// The cycle before the first is the mean one.
	next, err := c.direct.solver.Next(&op, &c.carry, &solve.Steady, &c.direct.cycle)
	if err != nil {
		return err
	}
	c.shape.fill(c.value, &c.direct.cycle, &next)
	c.rows()
	c.begun = true
	return nil
}

// rows lays the grid of the samples and the weights of Simpson's rule on it.
func (c *chain) rows() {
	ch := c.direct.solver.Chamber()
	st := ch.Strokes()
	count := c.shape.count
	all := make([]float64, 6*count)
	cut := func() []float64 {
		x := all[:count:count]
		all = all[count:]
		return x
	}
	o := &c.out
	o.Theta, o.Pressure, o.Hot, o.Temp = cut(), cut(), cut(), cut()
	c.work, c.grossW = cut(), cut()
	step := st.Period() / float64(count)
	rule := func(dst []float64, from, to int) { // to may be the sample after the last, which is not there
		for k := from; k <= to; k++ {
			w := 2.
			switch {
			case k == from || k == to:
				w = 1
			case (k-from)%2 == 1:
				w = 4
			}
			_, dv := ch.Volume(st.Start + step*float64(k))
			dst[k%count] += w * step / 3 * dv
		}
	}
	for k := range o.Theta {
		o.Theta[k] = st.Start + step*float64(k)
	}
	rule(c.work, 0, count) // dV is 0 at both ends
	rule(c.grossW, count/4, 3*count/4)
}

// next makes cycle n, which follows upon the one made last.
func (c *chain) next(ctx context.Context, n int) error {
	if !c.begun {
		if err := c.begin(n); err != nil {
			return err
		}
	}
	s, o := c.stream, &c.out
	op, steady := s.schedule.At(n)
	if c.steer != nil {
		scheduled := op
		c.steer(n, &op)
		steady = steady && op.Split == scheduled.Split && op.MAP == scheduled.MAP
	}
	knobs, mbt, p, err := c.here(ctx, n, steady)
	if err != nil {
		return err
	}
	if p != nil && op.Spark != p.surface.op.Spark { // a slower flame at another spark makes cycles differ more
		look, err := c.direct.mean(&p.surface, &op)
		if err != nil {
			return err
		}
		own := s.knobs(p, &op, look.Flame).Times(s.set.Scale)
		knobs = &own
	}
	d := drawn(c.seed, n, knobs.Link)
	own := op
	own.Lambda = math.Round(op.Lambda*(1+knobs.Mixture*d.mixture)/mixStep) * mixStep
	if knobs.Mixture == 0 {
		own.Lambda = op.Lambda
	}
	m, t, b := c.carry.Charge()
	m *= 1 + knobs.Charge*d.charge
	b = math.Min(1, math.Max(0, b*(1+knobs.Residual*d.residual)))
	c.carry.SetCharge(m, t, b)
	vary := solve.Variation{Development: factor(knobs.Development, d.development), Rapid: factor(knobs.Rapid, d.rapid), Burned: 1}
	look, err := c.direct.solver.Look(&own, &c.carry, &vary)
	if err != nil {
		return err
	}
	vary.Burned = s.completeness(look.Flame)
	if d.misfire < knobs.Misfire || !look.Lit {
		vary.Burned = 0
	}

	*o = Cycle{Number: n, Operating: own, Theta: o.Theta, Pressure: o.Pressure, Hot: o.Hot, Temp: o.Temp}
	o.Operating.Lambda = op.Lambda
	o.Clock = turn(c.seed, n, knobs, op.Speed, o.Theta[0])
	o.Clock.Order = s.order
	o.MBT, o.Lambda, o.Residual, o.Charge = mbt, own.Lambda, b, m
	c.value, c.before = c.before, c.value
	solved := false
	if p != nil && !s.set.Exact {
		solved = p.surface.eval(c.direct, &own, &c.carry, &look, vary.Burned, c.value)
	}
	lpp, peak := math.NaN(), math.NaN()
	if solved {
		out := c.shape.out(c.value)
		c.carry.SetCharge(out[outMass], out[outTemp], out[outResidual])
		o.Lit = vary.Burned > 0
	} else {
		next, err := c.direct.solver.Next(&own, &c.carry, &vary, &c.direct.cycle)
		if err != nil {
			return err
		}
		c.shape.fill(c.value, &c.direct.cycle, &next)
		c.carry = next
		lpp, peak, o.Lit = c.direct.cycle.LPP, c.direct.cycle.Peak, c.direct.cycle.Lit
	}
	c.row(&look)
	if solved {
		lpp, peak = c.peak()
	}
	c.tell(&own, lpp, peak, vary.Burned)
	c.knock(n, knobs, &own)
	return nil
}

// known returns what is known of op, and MBT there.
func (c *chain) known(ctx context.Context, op model.Operating) (*point, float64, error) {
	p, err := c.stream.point(c.direct, op)
	if err != nil {
		return nil, 0, err
	}
	mbt, err := c.stream.best(ctx, c.direct, op)
	return p, mbt, err
}

// here returns knobs and MBT at cycle n, between those of the knots of the
// schedule, and what is known of the operating point if it stays for long.
func (c *chain) here(ctx context.Context, n int, steady bool) (*Knobs, float64, *point, error) {
	a, b, w := c.stream.schedule.between(n)
	ka, kb := &c.stream.schedule[a], &c.stream.schedule[b]
	p, mbt, err := c.known(ctx, ka.Operating)
	if err != nil {
		return nil, 0, nil, err
	}
	if w == 0 {
		if !steady || (b > a && kb.Cycle-ka.Cycle < fewest) {
			return &p.knobs, mbt, nil, nil
		}
		return &p.knobs, mbt, p, nil
	}
	q, mbt2, err := c.known(ctx, kb.Operating)
	if err != nil {
		return nil, 0, nil, err
	}
	mixed := p.knobs
	for _, k := range Table {
		*k.At(&mixed) += w * (*k.At(&q.knobs) - *k.At(&p.knobs))
	}
	return &mixed, mbt + w*(mbt2-mbt), nil, nil
}

// row puts the samples of the cycle together: the intake stroke that the cycle
// before ended with, then this cycle's own.
func (c *chain) row(look *solve.Prospect) {
	o, b, count := &c.out, c.shape.begin, c.shape.count
	copy(o.Pressure[b:], c.shape.pressure(c.value)[:count-b])
	copy(o.Pressure[:b], c.shape.pressure(c.before)[count-b:])
	copy(o.Temp[b:], c.shape.temp(c.value)[:count-b])
	copy(o.Temp[:b], c.shape.temp(c.before)[count-b:])
	hot := c.shape.hot(c.value)
	for k := range o.Hot {
		o.Hot[k] = math.NaN()
		if i := k - b; o.Lit && i >= 0 && i < len(hot) && o.Theta[k] >= look.Start {
			o.Hot[k] = hot[i]
		}
	}
}

// peak finds the greatest pressure of the row, on the parabola through the
// greatest sample and its neighbours.
func (c *chain) peak() (at, p float64) {
	o := &c.out
	k := c.shape.begin
	for i := c.shape.begin; i < c.shape.begin+c.shape.sealed; i++ {
		if o.Pressure[i] > o.Pressure[k] {
			k = i
		}
	}
	l, m, r := o.Pressure[k-1], o.Pressure[k], o.Pressure[(k+1)%c.shape.count]
	bend := l - 2*m + r
	if !(bend < 0) {
		return o.Theta[k], m
	}
	u := math.Max(-0.5, math.Min(0.5, 0.5*(l-r)/bend))
	return o.Theta[k] + u*(o.Theta[1]-o.Theta[0]), m - (l-r)*u/4
}

// tell fills in what is true of the cycle.
func (c *chain) tell(op *model.Operating, lpp, peak, burned float64) {
	o, out := &c.out, c.shape.out(c.value)
	o.LPP, o.Peak = lpp, peak
	o.CA10, o.CA50, o.CA90 = math.NaN(), math.NaN(), math.NaN()
	if o.Lit {
		o.CA10, o.CA50, o.CA90 = out[outCA10], out[outCA50], out[outCA90]
		o.Burned = burned * out[outBurned] * c.stream.engine.Burn.Efficiency
	}
	o.Misfire = o.Burned < MisfireBelow
	o.PartialBurn = !o.Misfire && o.Burned < PartialBelow
	net, gross := 0., 0.
	for k, p := range o.Pressure {
		net += p * c.work[k]
		gross += p * c.grossW[k]
	}
	swept := c.direct.solver.Chamber().Swept()
	o.IMEPNet, o.IMEPGross = net/swept, gross/swept
	fmep, torque := c.direct.solver.Brake(op, peak, o.IMEPNet)
	o.BMEP, o.Torque = o.IMEPNet-fmep, torque
}

// completeness is the share of a charge that burns, of what could, with a
// laminar flame speed of flame [m/s] at the spark:
//
//	1 / (1 + 100^−((flame−mid)/(whole−poor)))
//
// the form by which Daw et al., SAE 962086, 1996 (from memory) let it fall at the
// dilute limit. They have the fuel-air ratio for the flame speed, which counts
// mixture and residual alike; 10 % at poor and 90 % at whole are our own choice.
// A burn whose law is not asked whether it lights is complete.
func (s *Stream) completeness(flame float64) float64 {
	if l := s.engine.Burn.Law; l == model.BurnFixed || l == model.BurnWiebe {
		return 1
	}
	const poor, whole = 0.13, 0.20
	ce := 1 / (1 + math.Pow(100, -(flame-(poor+whole)/2)/(whole-poor)))
	switch {
	case ce > 0.9995:
		return 1
	case ce < 0.01:
		return 0
	}
	return ce
}

// unburnedAt is the share of the charge that has not burned at theta [rad] of a
// burn with CA10 and CA90 of o.
func (o *Cycle) unburnedAt(theta float64) float64 {
	w, err := wiebe.FromAngles(-o.Operating.Spark, o.CA10+o.Operating.Spark, o.CA90-o.CA10)
	if err != nil {
		return 0
	}
	return 1 - w.Fraction(theta)
}
