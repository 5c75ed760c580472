package ideal

import (
	"fmt"
	"math"
	"strconv"

	"phasebench/model"
)

const (
	bar = 1e5 // [Pa]
	kJ  = 1e3 // [J]
)

// limits is what is allowed of one value.
type limits struct {
	key, unit string
	scale     float64 // SI value of 1 unit
	low, high float64 // allowed, in that unit
}

// check returns the *model.Problem with v (SI), or nil.
func (l limits) check(v float64) error {
	// A way through SI may move a value on the border by an ulp or two.
	const slack = 1e-12
	u := v / l.scale
	if u >= l.low-slack*math.Abs(l.low) && u <= l.high+slack*math.Abs(l.high) {
		return nil
	}
	return problem(l.key, number(u), l.want())
}

func (l limits) want() string {
	s := fmt.Sprintf("%s to %s", number(l.low), number(l.high))
	if l.unit != "" {
		s += " " + l.unit
	}
	return s
}

// within is l narrowed to what the rest of the input allows (in SI), rounded
// inward to six digits so that the limits said are allowed.
func (l limits) within(low, high float64) limits {
	l.low = max(l.low, inward(low/l.scale, 1))
	l.high = min(l.high, inward(high/l.scale, -1))
	return l
}

// inward rounds v >= 0 to six digits, up for direction 1, down for -1.
func inward(v float64, direction float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 6, 64), 64)
	if err != nil || (r-v)*direction >= 0 {
		return r
	}
	r, _ = strconv.ParseFloat(strconv.FormatFloat(v*(1+direction*1e-5), 'g', 6, 64), 64)
	return r
}

// choice is one of several values of which exactly one is to be given; 0 is
// not given.
type choice struct {
	limits
	value float64
}

// one returns the error of choices of which not exactly one is given.
func one(choices ...choice) error {
	given := -1
	for i, c := range choices {
		switch {
		case c.value == 0:
		case given >= 0:
			return problem(c.key, number(c.value/c.scale), "nothing beside "+choices[given].key)
		default:
			given = i
		}
	}
	if given >= 0 {
		return nil
	}
	want := choices[0].want()
	for _, c := range choices[1:] {
		want += ", or " + c.key + " instead"
	}
	return problem(choices[0].key, "0", want)
}

// none returns the error of choices of which any is given.
func none(why string, choices ...choice) error {
	for _, c := range choices {
		if c.value != 0 {
			return problem(c.key, number(c.value/c.scale), "nothing: "+why)
		}
	}
	return nil
}

func problem(key, given, want string) error {
	return &model.Problem{Key: key, Given: given, Want: want}
}

// firstOf returns the first error that is not nil.
func firstOf(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// number writes v so that it reads back within a rounding error.
func number(v float64) string { return fmt.Sprintf("%.12g", v) }

func quote(s string) string { return strconv.Quote(s) }
