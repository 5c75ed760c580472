package page

import (
	"errors"
	"slices"
	"strconv"
	"strings"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/loop"
	"phasebench/scenarios/sensor"
)

// loopTakes is what a loop depends on: how it sees, which law moves the spark and what
// guards it, where the hand at the distributor went, CYCLE:DEG,CYCLE:DEG, and which
// cycles are asked for.
var loopTakes = takes{
	numbers: []number{seed, {"target_deg", -20, 45, 15, false}, {"guard", 0, 1, 1, true}, {"envelope", 0, 1, 1, true},
		{"from", 0, loopCycles, 0, true}, {"to", 0, loopCycles, 0, true}},
	words: append(slices.Clip(seeing.words), word{"law", func(*query) []string { return loopLaws() }}),
	lists: append(slices.Clip(seeing.lists), "hand", "hand_trailing"),
}

// usualLaw is the law where none is named, that of loop.Usual.
const usualLaw = "integral"

// loopLaws are the laws that need nothing but what is read, or a transducer; the one
// that loops usually have is the first.
func loopLaws() []string {
	all := []string{usualLaw}
	for _, k := range control.Kinds() {
		if k.Name != usualLaw && !slices.Contains(k.Needs, control.NeedKnock) && !slices.Contains(k.Needs, control.NeedAirflow) {
			all = append(all, k.Name)
		}
	}
	return all
}

// move is where a hand is from a cycle on [rad].
type move struct {
	cycle int
	to    float64
}

// moves reads a list of q. Errors are a *model.Problem.
func (q *query) moves(key string) (all []move, err error) {
	given := q.words[key]
	if given == "" {
		return nil, nil
	}
	bad := &model.Problem{Key: key, Given: given, Want: "CYCLE:DEG,CYCLE:DEG with cycles that ascend below 3000 and -90 to 90 deg, 100 or fewer"}
	parts := strings.Split(given, ",")
	if len(parts) > mostMoves {
		return nil, bad
	}
	for _, part := range parts {
		cycle, angle, ok := strings.Cut(part, ":")
		n, err := strconv.Atoi(cycle)
		x, err2 := strconv.ParseFloat(angle, 64)
		if !ok || errors.Join(err, err2) != nil || !(n >= 0 && n < loopCycles && x >= -90 && x <= 90) || (len(all) > 0 && n <= all[len(all)-1].cycle) {
			return nil, bad
		}
		all = append(all, move{n, x * deg})
	}
	return all, nil
}

// handAt is where the hand is at cycle n.
func handAt(all []move, n int) float64 {
	to := 0.
	for _, m := range all {
		if m.cycle <= n {
			to = m.to
		}
	}
	return to
}

// before are the moves before cycle n.
func before(all []move, n int) []move {
	k := 0
	for k < len(all) && all[k].cycle < n {
		k++
	}
	return all[:k]
}

// asked is a run that a query asks for.
type asked struct {
	key            benchKey
	law            string
	guard          bool
	seed           uint64
	hand, trailing []move
	faults         []sensor.Fault
	scenario       *loop.Scenario // without hand and faults
}

// asks reads q. Errors are a *model.Problem.
func (q *query) asks() (*asked, error) {
	a := &asked{law: q.words["law"], guard: q.numbers["guard"] == 1, seed: uint64(q.whole("seed"))}
	var err [3]error
	a.hand, err[0] = q.moves("hand")
	a.trailing, err[1] = q.moves("hand_trailing")
	a.faults, err[2] = q.faults()
	if err := errors.Join(err[:]...); err != nil {
		return nil, err
	}
	engine, fail := model.Load(q.engine.Name) // as it is, for the file of the scenario
	if fail != nil {
		return nil, fail
	}
	*engine.Ratio() = *q.engine.Ratio()
	s := loop.Usual(engine)
	s.Name, s.Cycles = "page", loopCycles
	spark := s.Legs[0].Operating.Spark
	s.Legs[0].Operating, s.Legs[0].Target = q.engine.Point, q.numbers["target_deg"]*deg
	s.Legs[0].Operating.Spark = spark
	kind, fail := control.KindOf(a.law)
	if fail != nil {
		return nil, fail
	}
	s.Sensing.Signal, s.Sensing.Reader = q.signal(), q.words["reader"]
	s.Sensing.Pressure = slices.Contains(kind.Needs, control.NeedPressure)
	s.Law.Name = a.law
	s.Guard.Off, s.Guard.Envelope = !a.guard, q.numbers["envelope"] == 1
	op := s.Legs[0].Operating
	a.key = benchKey{engineKey{engine.Name, *engine.Ratio()}, op, s.Sensing.Signal, s.Sensing.Reader, s.Sensing.Pressure, s.Legs[0].Target, s.Guard.Envelope}
	a.scenario = &s
	return a, q.refuse(a)
}

// refuse returns what is not allowed of a, before anything is prepared for it.
func (q *query) refuse(a *asked) error {
	set, err := q.rig()
	if err != nil {
		return err
	}
	if _, err := sensor.New(q.engine, set, a.seed); err != nil {
		return err
	}
	s := *a.scenario
	s.Legs = slices.Clone(s.Legs)
	for _, m := range a.trailing {
		s.Legs[0].ManualTrailing = m.to
	}
	return s.Check()
}
