package page

import (
	"fmt"
	"math"
	"net/url"
	"sort"
	"strconv"
	"strings"

	"phasebench/model"
)

// setting is one number that a client may set, with the ends of its slider. Those are
// our own choice, within what the engine file allows.
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
	{"compression_ratio", 6, 14, 1, func(e *model.Engine) *float64 { return &e.Geometry.Ratio }},
	{"octane_shift", -20, 20, 1, func(e *model.Engine) *float64 { return &e.Point.OctaneShift }},
	{"humidity_g_kg", 0, 40, 1e-3, func(e *model.Engine) *float64 { return &e.Point.Humidity }},
}

// query is what is asked about: an embedded engine, changed, and where it runs.
type query struct{ engine *model.Engine }

// parse reads a query; errors are a *model.Problem.
func parse(v url.Values) (*query, error) {
	name := v.Get("engine")
	if name == "" {
		name = model.Default
	}
	e, err := model.Load(name)
	if err != nil || strings.HasSuffix(name, ".toml") { // no files of this machine
		return nil, &model.Problem{Key: "engine", Given: strconv.Quote(name), Want: "one of " + strings.Join(model.Names(), ", ")}
	}
	known := []string{"engine"}
	for _, s := range settings {
		known = append(known, s.key)
		text := v.Get(s.key)
		if text == "" {
			continue
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || !(x >= s.low && x <= s.high) {
			return nil, &model.Problem{Key: s.key, Given: text, Want: fmt.Sprintf("%g to %g", s.low, s.high)}
		}
		*s.at(e) = x * s.scale
	}
	sort.Strings(known)
	for key := range v {
		if i := sort.SearchStrings(known, key); i == len(known) || known[i] != key {
			return nil, &model.Problem{Key: key, Given: v.Get(key), Want: "one of " + strings.Join(known, ", ")}
		}
	}
	if err := e.Check(); err != nil {
		return nil, err
	}
	return &query{e}, e.Point.Check(e)
}
