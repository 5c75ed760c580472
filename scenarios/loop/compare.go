package loop

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"phasebench/scenarios/control"
)

// Controller is a law behind a guard, by name.
type Controller struct {
	Name  string
	Law   Law
	Guard control.GuardSettings
}

// sure is the confidence of intervals.
const sure = 0.95

// Interval is a mean difference between two controllers and where the true one is to
// be found with 95 % confidence: mean ± t·s/√n over n seeds (Student's t with n−1 degrees
// of freedom), which takes differences between seeds for independent and about normal.
// Low and High are NaN with fewer than 2 seeds.
type Interval struct {
	Mean, Low, High float64
	Seeds           int
}

// Significant tells whether 0 is outside the interval.
func (d *Interval) Significant() bool { return d.Low > 0 || d.High < 0 }

// Score is one number of a controller, over scenarios and seeds.
type Score struct {
	Mean float64 // over seeds, of the mean over scenarios that have the number; NaN: none has
	Runs int     // that have the number

	// Over is by how much it is more than that of the best controller: of pairs of runs of
	// one scenario and seed that both have the number, the mean over scenarios for
	// each seed.
	Over Interval
}

// Standing is how one controller did.
type Standing struct {
	Controller *Controller
	TorqueLost Score // Verdict.TorqueLost [-]
	Settle     Score // Verdict.Settle [cycles]
	Hover      Score // Verdict.Hover [rad]
	Runs       int
	Runaways   int // of which with Verdict.Runaway
	Unsettled  int // of which with Verdict.Unsettled
	Failures   int // of which lost an outside law
}

// Ranking is what a comparison came to.
type Ranking struct {
	// Standings begin with those that neither ran away nor lost their law, the least torque lost first:
	// that is the best. The others follow in the same order.
	Standings []Standing
	Best      *Standing // nil: there is none, and nothing that is over it
}

// Compare runs every controller in every scenario with every seed, on common random
// numbers: the same cycles vary alike for all. See RunBattery for workers, progress
// and errors; laws and guards of scenarios do not count.
func Compare(ctx context.Context, scenarios []Scenario, controllers []Controller, seeds []uint64, workers int, progress func(done, total int)) (*Ranking, error) {
	var all []Scenario
	for _, s := range scenarios { // in this order neighbours share most
		for i := range controllers {
			s.Law, s.Guard = controllers[i].Law, controllers[i].Guard
			all = append(all, s)
		}
	}
	outcomes, err := new(benches).runAll(ctx, all, seeds, workers, progress)
	if err != nil {
		return nil, err
	}
	of := make([][]Outcome, len(controllers))
	for i := range outcomes {
		k := i % len(controllers)
		of[k] = append(of[k], outcomes[i])
	}
	return rank(controllers, of), nil
}

// scores lists what is compared.
var scores = []struct {
	at func(*Standing) *Score
	of func(*Verdict) float64
}{
	{func(s *Standing) *Score { return &s.TorqueLost }, func(v *Verdict) float64 { return v.TorqueLost }},
	{func(s *Standing) *Score { return &s.Settle }, func(v *Verdict) float64 { return v.Settle }},
	{func(s *Standing) *Score { return &s.Hover }, func(v *Verdict) float64 { return v.Hover }},
}

// rank ranks controllers by their outcomes, by scenario.
func rank(controllers []Controller, of [][]Outcome) *Ranking {
	r := &Ranking{Standings: make([]Standing, len(controllers))}
	place := make([]int, len(controllers))
	for i := range controllers {
		place[i] = i
		s := &r.Standings[i]
		s.Controller = &controllers[i]
		for _, o := range of[i] {
			for k := range o.Verdicts {
				v := &o.Verdicts[k]
				s.Runs++
				s.Runaways += int(flag(v.Runaway))
				s.Unsettled += int(flag(v.Unsettled > 0))
				s.Failures += int(flag(o.Failures[k] != nil))
			}
		}
		for _, x := range scores {
			means, runs := bySeed(of[i], func(o *Outcome, _, k int) float64 { return x.of(&o.Verdicts[k]) })
			*x.at(s) = Score{Mean: stat.Mean(means, nil), Runs: runs, Over: Interval{math.NaN(), math.NaN(), math.NaN(), 0}}
		}
	}
	slices.SortStableFunc(place, func(a, b int) int {
		x, y := &r.Standings[a], &r.Standings[b]
		lost := func(s *Standing) float64 { // none comes last
			if math.IsNaN(s.TorqueLost.Mean) {
				return math.Inf(1)
			}
			return s.TorqueLost.Mean
		}
		return cmp.Or(cmp.Compare(flag(!x.sound()), flag(!y.sound())), cmp.Compare(lost(x), lost(y)))
	})
	sorted := make([]Standing, 0, len(place))
	for _, i := range place {
		sorted = append(sorted, r.Standings[i])
	}
	r.Standings = sorted
	if len(sorted) == 0 || !sorted[0].sound() || math.IsNaN(sorted[0].TorqueLost.Mean) {
		return r
	}
	r.Best = &sorted[0]
	best := of[place[0]]
	for i := range sorted[1:] {
		s, own := &sorted[i+1], of[place[i+1]]
		for _, x := range scores {
			differences, _ := bySeed(own, func(o *Outcome, scenario, k int) float64 {
				return x.of(&o.Verdicts[k]) - x.of(&best[scenario].Verdicts[k])
			})
			x.at(s).Over = interval(differences)
		}
	}
	return r
}

// sound tells whether s can be the best.
func (s *Standing) sound() bool { return s.Runaways == 0 && s.Failures == 0 }

// bySeed returns for every seed that has one the mean over scenarios of a number,
// and how many runs have it.
func bySeed(all []Outcome, of func(o *Outcome, scenario, seed int) float64) (means []float64, runs int) {
	if len(all) == 0 {
		return nil, 0
	}
	for k := range all[0].Verdicts {
		sum, n := 0., 0
		for i := range all {
			if v := of(&all[i], i, k); !math.IsNaN(v) {
				sum += v
				n++
			}
		}
		if n > 0 {
			means = append(means, sum/float64(n))
			runs += n
		}
	}
	return means, runs
}

// interval is that of differences, one a seed.
func interval(differences []float64) Interval {
	n := float64(len(differences))
	d := Interval{stat.Mean(differences, nil), math.NaN(), math.NaN(), len(differences)}
	if n > 1 {
		t := distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile((1 + sure) / 2)
		half := t * stat.StdDev(differences, nil) / math.Sqrt(n)
		d.Low, d.High = d.Mean-half, d.Mean+half
	}
	return d
}

// Statement tells in words, a line each, which is the best, and of every other
// whether it is shown to lose more torque.
func (r *Ranking) Statement() []string {
	var all []string
	switch {
	case len(r.Standings) == 0:
		return []string{"No controller was compared."}
	case r.Best == nil:
		all = append(all, "None is the best: each ran away, lost its law or ran where torque lost is not known.")
	default:
		all = append(all, fmt.Sprintf("%s loses the least torque of those that never ran away: %.3f %% in %d runs.",
			r.Best.Controller.Name, 100*r.Best.TorqueLost.Mean, r.Best.TorqueLost.Runs))
	}
	doubt := false
	for i := range r.Standings {
		s := &r.Standings[i]
		name, d := s.Controller.Name, &s.TorqueLost.Over
		switch {
		case s == r.Best:
		case s.Failures > 0:
			all = append(all, fmt.Sprintf("%s lost its outside law in %d of %d runs: not ranked.", name, s.Failures, s.Runs))
		case s.Runaways > 0:
			all = append(all, fmt.Sprintf("%s ran away in %d of %d runs: not ranked.", name, s.Runaways, s.Runs))
		case math.IsNaN(d.Mean):
			all = append(all, fmt.Sprintf("%s has no torque lost to compare.", name))
		case math.IsNaN(d.Low):
			all = append(all, fmt.Sprintf("%s loses %.3f %% more: one seed cannot tell whether by chance.", name, 100*d.Mean))
		case d.Significant():
			all = append(all, fmt.Sprintf("%s loses %.3f %% more (%.3f to %.3f %% with 95 %% confidence, %d seeds): significant.", name, 100*d.Mean, 100*d.Low, 100*d.High, d.Seeds))
		default:
			doubt = true
			all = append(all, fmt.Sprintf("%s loses %.3f %% more (%.3f to %.3f %% with 95 %% confidence, %d seeds): NOT significant.", name, 100*d.Mean, 100*d.Low, 100*d.High, d.Seeds))
		}
	}
	if doubt {
		all = append(all, "Where a difference is not significant, these runs do not show that the best is better.")
	}
	if len(r.Standings) > 2 {
		all = append(all, "Each interval holds for itself: of twenty, one may well be off by chance.")
	}
	return all
}
