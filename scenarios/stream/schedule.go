package stream

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"phasebench/model"
)

// Knot is where the engine runs at one cycle of a schedule.
type Knot struct {
	Cycle     int
	Operating model.Operating
}

// Schedule tells where the engine runs at every cycle: at its knots, in
// ascending order of cycles, and in straight lines between them; before the
// first and after the last as there. Two knots at neighbouring cycles are a step.
type Schedule []Knot

// Steadily is the schedule of one point.
func Steadily(op model.Operating) Schedule { return Schedule{{0, op}} }

// between returns the knots about cycle n, a and b, and how far it is on the way
// from a to b, 0 to 1 without 1; outside them both are the nearest.
func (s Schedule) between(n int) (a, b int, w float64) {
	k := 0
	for k < len(s) && s[k].Cycle <= n {
		k++
	}
	switch {
	case k == 0:
		return 0, 0, 0
	case k == len(s):
		return k - 1, k - 1, 0
	case s[k-1].Operating == s[k].Operating:
		return k - 1, k, 0
	}
	return k - 1, k, float64(n-s[k-1].Cycle) / float64(s[k].Cycle-s[k-1].Cycle)
}

// At returns where the engine runs at cycle n, and whether it runs there from
// knot to knot.
func (s Schedule) At(n int) (op model.Operating, steady bool) {
	a, b, w := s.between(n)
	if w == 0 {
		return s[a].Operating, a == b || s[a].Operating == s[b].Operating
	}
	p, q := &s[a].Operating, &s[b].Operating
	op = *p
	mix := func(to *float64, x, y float64) { *to = x + w*(y-x) }
	mix(&op.Speed, p.Speed, q.Speed)
	mix(&op.MAP, p.MAP, q.MAP)
	mix(&op.Lambda, p.Lambda, q.Lambda)
	mix(&op.Spark, p.Spark, q.Spark)
	mix(&op.Split, p.Split, q.Split)
	mix(&op.Intake, p.Intake, q.Intake)
	mix(&op.Exhaust, p.Exhaust, q.Exhaust)
	mix(&op.Humidity, p.Humidity, q.Humidity)
	mix(&op.WallShift, p.WallShift, q.WallShift)
	mix(&op.OctaneShift, p.OctaneShift, q.OctaneShift)
	return op, false
}

// Check returns what is wrong with s for e, or nil.
func (s Schedule) Check(e *model.Engine) error {
	if len(s) == 0 {
		return errors.New("stream: the schedule is empty: want a knot")
	}
	for i := range s {
		if i > 0 && !(s[i].Cycle > s[i-1].Cycle) {
			return fmt.Errorf("stream: knot %d of the schedule is at cycle %d, want more than %d", i+1, s[i].Cycle, s[i-1].Cycle)
		}
		if err := s[i].Operating.Check(e); err != nil {
			return fmt.Errorf("stream: cycle %d of the schedule: %w", s[i].Cycle, err)
		}
	}
	return nil
}

// ErrSchedule is wrapped by every error about a schedule file.
var ErrSchedule = errors.New("not a schedule")

// columns of a schedule file, their scale and place.
var columns = []struct {
	name  string
	scale float64
	at    func(*model.Operating) *float64
}{
	{"speed_rpm", 2 * math.Pi / 60, func(o *model.Operating) *float64 { return &o.Speed }},
	{"map_kpa", 1e3, func(o *model.Operating) *float64 { return &o.MAP }},
	{"lambda", 1, func(o *model.Operating) *float64 { return &o.Lambda }},
	{"spark_deg_btdc", math.Pi / 180, func(o *model.Operating) *float64 { return &o.Spark }},
	{"trailing_split_deg", math.Pi / 180, func(o *model.Operating) *float64 { return &o.Split }},
	{"exhaust_kpa", 1e3, func(o *model.Operating) *float64 { return &o.Exhaust }},
	{"humidity_g_kg", 1e-3, func(o *model.Operating) *float64 { return &o.Humidity }},
	{"wall_shift_k", 1, func(o *model.Operating) *float64 { return &o.WallShift }},
	{"octane_shift", 1, func(o *model.Operating) *float64 { return &o.OctaneShift }},
}

// ReadSchedule reads a schedule as CSV: a header with cycle and any of
// speed_rpm, map_kpa, lambda, spark_deg_btdc, trailing_split_deg, exhaust_kpa,
// humidity_g_kg, wall_shift_k, octane_shift; one line a knot. Columns left out are as in base. Errors wrap ErrSchedule and
// tell the line, starting with name.
func ReadSchedule(r io.Reader, name string, base model.Operating) (Schedule, error) {
	in := csv.NewReader(r)
	in.Comment, in.TrimLeadingSpace = '#', true
	fail := func(format string, args ...any) error {
		return fmt.Errorf("%s: %s: %w", name, fmt.Sprintf(format, args...), ErrSchedule)
	}
	head, err := in.Read()
	if err != nil && err != io.EOF {
		return nil, fail("%v", err)
	}
	if err != nil {
		return nil, fail("no header line: want cycle and columns such as speed_rpm")
	}
	var allowed []string
	for _, c := range columns {
		allowed = append(allowed, c.name)
	}
	place := make([]int, len(head)) // in columns; -1: the cycle
	seen := map[string]bool{}
	for i, h := range head {
		h = strings.TrimSpace(strings.TrimPrefix(h, "\ufeff"))
		place[i] = -2
		if h == "cycle" {
			place[i] = -1
		}
		for k, c := range columns {
			if c.name == h {
				place[i] = k
			}
		}
		if place[i] == -2 {
			return nil, fail("line 1: column %q: want cycle and any of %s", h, strings.Join(allowed, ", "))
		}
		if seen[h] {
			return nil, fail("line 1: column %q twice", h)
		}
		seen[h] = true
	}
	if !seen["cycle"] {
		return nil, fail("line 1: no column cycle")
	}
	var s Schedule
	for {
		row, err := in.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, fail("%v", err)
		}
		line, _ := in.FieldPos(0)
		knot := Knot{Operating: base}
		for i, text := range row {
			if place[i] == -1 {
				n, err := strconv.Atoi(text)
				if err != nil || n < 0 {
					return nil, fail("line %d: cycle = %q, want a whole number from 0", line, text)
				}
				knot.Cycle = n
				continue
			}
			c := &columns[place[i]]
			v, err := strconv.ParseFloat(text, 64)
			if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, fail("line %d: %s = %q, want a number", line, c.name, text)
			}
			*c.at(&knot.Operating) = v * c.scale
		}
		if len(s) > 0 && !(knot.Cycle > s[len(s)-1].Cycle) {
			return nil, fail("line %d: cycle = %d, want more than %d", line, knot.Cycle, s[len(s)-1].Cycle)
		}
		s = append(s, knot)
	}
	if len(s) == 0 {
		return nil, fail("no line below the header: want a knot")
	}
	return s, nil
}
