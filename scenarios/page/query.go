package page

import (
	"fmt"
	"math"
	"net/url"
	"slices"
	"sort"
	"strconv"
	"strings"

	"phasebench/model"
)

// setting is one number of the engine or its point that a client may set, with the
// ends of its slider. Those are our own choice, within what the engine file allows.
type setting struct {
	key       string
	low, high float64
	scale     float64
	at        func(e *model.Engine) *float64
}

var settings = []setting{
	{"spark_deg", -10, 60, math.Pi / 180, func(e *model.Engine) *float64 { return &e.Point.Spark }},
	{"speed_rpm", 600, 5000, 2 * math.Pi / 60, func(e *model.Engine) *float64 { return &e.Point.Speed }},
	{"map_kpa", 20, 110, 1e3, func(e *model.Engine) *float64 { return &e.Point.MAP }},
	{"lambda", 0.7, 1.7, 1, func(e *model.Engine) *float64 { return &e.Point.Lambda }},
	{"compression_ratio", 6, 14, 1, (*model.Engine).Ratio},
	{"octane_shift", -20, 20, 1, func(e *model.Engine) *float64 { return &e.Point.OctaneShift }},
	{"humidity_g_kg", 0, 40, 1e-3, func(e *model.Engine) *float64 { return &e.Point.Humidity }},
}

// number is one more number that an answer depends on.
type number struct {
	key              string
	low, high, usual float64
	whole            bool
}

// word is one of a few words that an answer depends on; the first is the usual one.
type word struct {
	key   string
	among func(q *query) []string
}

// takes is what an answer depends on besides engine and point.
type takes struct {
	numbers []number
	words   []word
	lists   []string // keys of what a client writes freely and the answer reads; usually empty
}

// query is what is asked about: an embedded engine, changed, and where it runs, and
// what else the answer depends on.
type query struct {
	engine  *model.Engine
	numbers map[string]float64
	words   map[string]string // and lists
}

func (q *query) whole(key string) int { return int(q.numbers[key]) }

// parse reads a query; errors are a *model.Problem.
func parse(v url.Values, t *takes) (*query, error) {
	name := v.Get("engine")
	if name == "" {
		name = model.Default
	}
	e, err := model.Load(name)
	if err != nil || strings.HasSuffix(name, ".toml") { // no files of this machine
		return nil, &model.Problem{Key: "engine", Given: strconv.Quote(name), Want: "one of " + strings.Join(model.Names(), ", ")}
	}
	q := &query{engine: e, numbers: map[string]float64{}, words: map[string]string{}}
	known := []string{"engine"}
	for _, s := range settings {
		known = append(known, s.key)
		x, ok, err := within(v, s.key, s.low, s.high)
		if err != nil {
			return nil, err
		}
		if ok {
			*s.at(e) = x * s.scale
		}
	}
	for _, n := range t.numbers {
		known = append(known, n.key)
		x, ok, err := within(v, n.key, n.low, n.high)
		switch {
		case err != nil:
			return nil, err
		case !ok:
			x = n.usual
		case n.whole && x != math.Trunc(x):
			return nil, &model.Problem{Key: n.key, Given: v.Get(n.key), Want: "a whole number"}
		}
		q.numbers[n.key] = x
	}
	for _, w := range t.words {
		known = append(known, w.key)
		all := w.among(q)
		x := v.Get(w.key)
		if x == "" {
			x = all[0]
		}
		if !slices.Contains(all, x) {
			return nil, &model.Problem{Key: w.key, Given: strconv.Quote(x), Want: "one of " + strings.Join(all, ", ")}
		}
		q.words[w.key] = x
	}
	for _, key := range t.lists {
		known = append(known, key)
		q.words[key] = v.Get(key)
	}
	sort.Strings(known)
	for key, all := range v {
		if len(all) > 1 {
			return nil, &model.Problem{Key: key, Given: strings.Join(all, ", "), Want: "one value"}
		}
		if i := sort.SearchStrings(known, key); i == len(known) || known[i] != key {
			return nil, &model.Problem{Key: key, Given: v.Get(key), Want: "one of " + strings.Join(known, ", ")}
		}
	}
	if err := e.Check(); err != nil {
		return nil, err
	}
	return q, e.Point.Check(e)
}

// within reads a number from low to high, if there is one.
func within(v url.Values, key string, low, high float64) (x float64, ok bool, err error) {
	given := v.Get(key)
	if given == "" {
		return 0, false, nil
	}
	x, err = strconv.ParseFloat(given, 64)
	if err != nil || !(x >= low && x <= high) {
		return 0, false, &model.Problem{Key: key, Given: given, Want: fmt.Sprintf("%.9g to %.9g", low, high)}
	}
	return x, true, nil
}
