package control

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"phasebench/model"
)

// Number is one setting of a law or a guard.
type Number struct {
	Key, About, Unit string
	Scale            float64 // SI value of 1 in files and flags
	Low, High        float64 // allowed, in the unit of the key
	Usual            float64
}

// whole tells whether n is a count or a switch.
func (n *Number) whole() bool { return n.Unit == "cycles" || n.Unit == "0/1" }

// Kind is one kind of law.
type Kind struct {
	Name, About string
	Needs       []Need // instruments that it cannot do without
	Numbers     []Number
	make        func(v values) Law
}

// Need is something that must be measured.
type Need string

// Needs of laws.
const (
	NeedPressure Need = "pressure"
	NeedKnock    Need = "knock"
	NeedTorque   Need = "torque"
	NeedAirflow  Need = "airflow"
)

// values holds the numbers of a law in SI, by key.
type values map[string]float64

// Kinds lists the laws in order.
func Kinds() []Kind { return append([]Kind(nil), kinds...) }

// Names lists the names of laws.
func Names() []string {
	var all []string
	for _, k := range kinds {
		all = append(all, k.Name)
	}
	return all
}

// KindOf returns the kind of that name. Errors are a *model.Problem.
func KindOf(name string) (Kind, error) {
	for _, k := range kinds {
		if k.Name == name {
			return k, nil
		}
	}
	return Kind{}, &model.Problem{Key: "law", Given: name, Want: "one of " + strings.Join(Names(), ", ")}
}

// New returns the law of that name with numbers by key, in the units of the keys;
// those left out are usual. Errors are a *model.Problem.
func New(name string, numbers map[string]float64) (Law, error) {
	k, err := KindOf(name)
	if err != nil {
		return nil, err
	}
	v, err := resolve("law", k.Name, k.Numbers, numbers)
	if err != nil {
		return nil, err
	}
	return k.make(v), nil
}

// resolve returns all of table in SI, with given in the units of its keys.
func resolve(prefix, name string, table []Number, given map[string]float64) (values, error) {
	v := values{}
	var known []string
	for _, n := range table {
		x, ok := given[n.Key]
		if !ok {
			x = n.Usual
		}
		if !(x >= n.Low && x <= n.High) {
			return nil, &model.Problem{Key: prefix + "." + n.Key, Given: fmt.Sprintf("%.6g", x), Want: fmt.Sprintf("%g to %g %s", n.Low, n.High, n.Unit)}
		}
		if n.whole() && x != math.Trunc(x) {
			return nil, &model.Problem{Key: prefix + "." + n.Key, Given: fmt.Sprintf("%.6g", x), Want: "a whole number"}
		}
		v[n.Key] = x * n.Scale
		known = append(known, n.Key)
	}
	var unknown []string
	for key := range given {
		if _, ok := v[key]; !ok {
			unknown = append(unknown, key)
		}
	}
	if len(unknown) > 0 {
		sort.Strings(unknown)
		want := "no such number: " + name + " has none"
		if len(known) > 0 {
			want = "one of those of " + name + ": " + strings.Join(known, ", ")
		}
		return nil, &model.Problem{Key: prefix + "." + unknown[0], Given: fmt.Sprintf("%.6g", given[unknown[0]]), Want: want}
	}
	return v, nil
}

// kinds is the one table of laws.
var kinds = []Kind{
	tableKind,
	integralKind,
	fixedTrailingKind,
	proportionalKind,
	fixedStepKind,
	adaptiveKind,
	scheduledKind,
	vertexKind,
	extremumTorqueKind,
	extremumAirflowKind,
	retardKind,
	likelihoodKind,
}
