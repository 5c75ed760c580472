package fit

import (
	"context"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/stat"

	"phasebench/model"
	"phasebench/scenarios/indicate"
	"phasebench/scenarios/stream"
	"phasebench/solve"
)

// Spread is how far cycles differ, as an indicator sees them.
type Spread struct {
	Cycles      int
	Development float64 // sd of ln(spark to 10 % burned) [-]
	Rapid       float64 // sd of ln(10 to 90 % burned) [-]
	Link        float64 // correlation of the two [-]
	Heat        float64 // relative sd of the heat released [-]
	Charge      float64 // relative sd of the pressure 55 to 35 deg before dead centre [-]
	COV         float64 // of gross IMEP [-]
	LPP         float64 // sd [rad]
	CA50        float64 // sd [rad]
	Misfire     float64 // share of cycles [-]

	Angles [][2]float64 // of each burning cycle: spark to 10 %, 10 to 90 % burned [rad]
}

// spread indicates cycles.
type spread struct {
	indicator *indicate.Indicator
	op        model.Operating
	shift     float64
	angles    [][2]float64
	heat      []float64
	charge    []float64
	imep, lpp []float64
	ca50      []float64
	cycles    int
	misfires  int
	noise     float64 // summed [Pa]
}

func (s *spread) add(theta, p []float64) error {
	n, err := s.indicator.Cycle(theta, p)
	if err != nil {
		return err
	}
	s.cycles++
	s.noise += n.Noise
	d, r := n.Burn.CA10.Value+s.op.Spark, n.Burn.CA90.Value-n.Burn.CA10.Value
	if !(n.IMEPGross.Value > 0 && d > 2*deg && r > 3*deg && n.Heat.Value > 0) {
		s.misfires++
		return nil
	}
	s.angles = append(s.angles, [2]float64{d, r})
	sum, count := 0., 0.
	for i, at := range theta {
		if at -= s.shift; at > -55*deg && at < -35*deg {
			sum, count = sum+p[i]+n.Zero.Value, count+1
		}
	}
	s.charge = append(s.charge, sum/count)
	s.heat, s.imep, s.lpp, s.ca50 = append(s.heat, n.Heat.Value), append(s.imep, n.IMEPGross.Value), append(s.lpp, n.LPP.Value), append(s.ca50, n.Burn.CA50.Value)
	return nil
}

func (s *spread) sum() Spread {
	var d, r []float64
	for _, a := range s.angles {
		d, r = append(d, math.Log(a[0])), append(r, math.Log(a[1]))
	}
	relative := func(v []float64) float64 {
		mean, sd := stat.MeanStdDev(v, nil)
		return sd / mean
	}
	return Spread{Cycles: s.cycles, Development: stat.StdDev(d, nil), Rapid: stat.StdDev(r, nil), Link: stat.Correlation(d, r, nil), Heat: relative(s.heat), Charge: relative(s.charge),
		COV: relative(s.imep), LPP: stat.StdDev(s.lpp, nil), CA50: stat.StdDev(s.ca50, nil), Misfire: float64(s.misfires) / float64(s.cycles), Angles: s.angles}
}

// Imitation are knobs of package stream with which the engine's cycles differ as those
// of a recording do, both seen by the same indicator with the same noise.
type Imitation struct {
	Knobs              stream.Knobs
	Recorded, Imitated Spread
}

// How knobs are found. Our own choice.
const (
	tries     = 5
	fewCycles = 250 // made at a try, at least
)

// imitate finds knobs for the fitted engine: it makes cycles with the usual ones, adds
// white noise as the recording has it, indicates them as the recorded ones, and moves each
// knob by what its own spread is short of, a few times over. What a recording of so many
// cycles does not tell stays usual: speed, end gas, knock.
func imitate(ctx context.Context, r *Result, d *Data, seed uint64) (*Imitation, error) {
	e := r.Engine
	shift := r.Parameters[Shift].Value
	of := func(shift float64) (*spread, error) {
		x, err := indicate.New(e, &e.Point, &indicate.Settings{Shift: shift})
		return &spread{indicator: x, op: e.Point, shift: shift}, err
	}
	s, err := of(shift)
	if err != nil {
		return nil, err
	}
	for _, p := range d.Fired {
		if err := s.add(d.Theta, p); err != nil {
			return nil, err
		}
	}
	s.cycles, s.misfires = s.cycles+d.Misfires, s.misfires+d.Misfires
	noise := s.noise / float64(len(d.Fired))
	out := &Imitation{Recorded: s.sum()}
	if len(out.Recorded.Angles) < 10 {
		return nil, &model.Problem{Key: "cycles", Given: "too few that burn", Want: "10 or more to tell how they differ"}
	}
	samples := len(d.Theta)
	for try := range tries {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		set := &stream.Settings{Seed: seed, Samples: samples}
		if try > 0 {
			set.Knobs = &out.Knobs
		}
		cycles, err := stream.New(e, stream.Steadily(e.Point), set)
		if err != nil {
			return nil, err
		}
		if try == 0 {
			all, err := cycles.Knobs()
			if err != nil {
				return nil, err
			}
			out.Knobs = all[0]
			out.Knobs.Misfire = out.Recorded.Misfire
		}
		if s, err = of(0); err != nil {
			return nil, err
		}
		z := rand.New(rand.NewPCG(seed, uint64(try)))
		p := make([]float64, samples)
		for c, err := range cycles.Cycles(ctx, 0, max(fewCycles, len(d.Fired))) {
			if err != nil {
				return nil, err
			}
			for i, v := range c.Pressure {
				p[i] = v + noise*z.NormFloat64()
			}
			if err := s.add(c.Theta, p); err != nil {
				return nil, err
			}
		}
		out.Imitated = s.sum()
		if try == tries-1 {
			break
		}
		out.Knobs = moved(out.Knobs, &out.Recorded, &out.Imitated)
	}
	return out, nil
}

// moved is k with each knob moved by what the imitation is short of.
func moved(k stream.Knobs, recorded, imitated *Spread) stream.Knobs {
	by := func(want, got float64) float64 { // damped, and never more than threefold
		if !(got > 0) {
			return 1
		}
		return math.Min(3, math.Max(1./3, want/got))
	}
	k.Development = math.Min(0.9, k.Development*by(recorded.Development, imitated.Development))
	k.Rapid = math.Min(0.9, k.Rapid*by(recorded.Rapid, imitated.Rapid))
	k.Link = math.Min(0.95, math.Max(-0.95, k.Link+0.7*(recorded.Link-imitated.Link)))
	k.Charge = math.Min(0.09, k.Charge*by(recorded.Charge, imitated.Charge))
	k.Mixture = math.Min(0.15, k.Mixture*by(recorded.Heat, imitated.Heat))
	return k
}

// manyCycles are those whose mean is taken, so that it is better known than that of any
// recording. Our own choice.
const manyCycles = 30000

// ragged settles by how much the mean of cycles that differ as those of the imitation
// differs from the mean cycle, as bend does from burns and heat alone.
func (p *problem) ragged(ctx context.Context, r *Result, x vector, seed uint64) error {
	e := r.Engine
	cycles, err := stream.New(e, stream.Steadily(e.Point), &stream.Settings{Seed: seed + 1, Samples: len(p.theta), Knobs: &r.Imitation.Knobs})
	if err != nil {
		return err
	}
	mean := make([]float64, len(p.theta))
	count := 0.
	for c, err := range cycles.Cycles(ctx, 0, manyCycles) {
		if err != nil {
			return err
		}
		if c.Misfire {
			continue
		}
		count++
		for i, v := range c.Pressure {
			mean[i] += v
		}
	}
	s, err := solve.New(e, &solve.Settings{Step: p.step})
	if err != nil {
		return err
	}
	if err := s.Run(&e.Point, &p.cycle); err != nil {
		return err
	}
	bow := make([]float64, len(p.cycle.Theta))
	for i := range mean {
		bow[i] = mean[i]/count - p.cycle.Pressure[i]
	}
	bow[len(bow)-1] = bow[0]
	var a interp.AkimaSpline
	if err := a.Fit(p.cycle.Theta, bow); err != nil {
		return err
	}
	lo, hi := p.cycle.Theta[0], p.cycle.Theta[len(p.cycle.Theta)-1]
	for i, theta := range p.theta {
		p.bow[i] = a.Predict(math.Min(math.Max(theta-x[Shift], lo), hi))
	}
	return nil
}
