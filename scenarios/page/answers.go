package page

import (
	"context"
	"net/http"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/reader"
	"phasebench/scenarios/record"
	"phasebench/scenarios/sensor"
)

// computed is one kind of answer of the page: what it depends on, and how it is
// computed, in its turn.
type computed struct {
	name    string
	turns   *turns
	takes   takes
	compute func(ctx context.Context, q *query) (any, error)
}

// answers lists them.
func (p *Page) answers() []computed {
	return []computed{
		{"cycle", &p.quick, takes{}, p.cycle},
		{"sweep", &p.long, takes{}, p.sweep},
		{"ragged", &p.long, raggedTakes, p.ragged},
		{"trust", &p.long, trustTakes, p.trust},
		{"fooled", &p.long, fooledTakes, p.fooled},
		{"loop", &p.long, loopTakes, p.loop},
		{"loop.csv", &p.long, loopTakes, p.loopCSV},
		{"loop.toml", &p.long, loopTakes, p.loopTOML},
	}
}

// seeing is how cycles are looked at: a signal, a reader of it, and faults of the
// instruments, separated by commas, as sensor.ParseFault reads them.
var seeing = takes{
	words: []word{
		{"signal", func(*query) []string { return []string{reader.Ion.String(), reader.Pressure.String()} }},
		{"reader", func(q *query) []string { return reader.Names(q.signal()) }},
	},
	lists: []string{"faults"},
}

// with returns t and more numbers.
func (t takes) with(more ...number) takes {
	t.numbers = append(t.numbers[:len(t.numbers):len(t.numbers)], more...)
	return t
}

// seed is a number of every answer with draws.
var seed = number{"seed", 0, 1e6, 1, true}

// signal is what q looks at.
func (q *query) signal() reader.Signal {
	if q.words["signal"] == reader.Pressure.String() {
		return reader.Pressure
	}
	return reader.Ion
}

// known tells what there is: the embedded engines, readers, laws and faults, the ends
// of all numbers, and what every page must say.
func (p *Page) known(w http.ResponseWriter, _ *http.Request) {
	type engine struct {
		Name        string         `json:"name"`
		Description string         `json:"description"`
		Settings    map[string]any `json:"settings"`
	}
	type law struct {
		Name  string         `json:"name"`
		About string         `json:"about"`
		Needs []control.Need `json:"needs"`
	}
	type fault struct {
		Name       string  `json:"name"`
		Instrument string  `json:"instrument"`
		Unit       string  `json:"unit"`
		About      string  `json:"about"`
		Typical    float64 `json:"typical"`
	}
	var a struct {
		Engines []engine                      `json:"engines"`
		Limits  map[string]map[string]float64 `json:"limits"`
		Readers map[string][]string           `json:"readers"` // by signal
		Laws    []law                         `json:"laws"`
		Faults  []fault                       `json:"faults"`
		Caution string                        `json:"caution"`
		Version string                        `json:"version"`
	}
	for _, name := range model.Names() {
		e, err := model.Load(name)
		if err != nil {
			fail(w, err)
			return
		}
		about := e.Description
		if e.Rotary() {
			about += "; all angles in degrees of the shaft, 1080 to a cycle"
		}
		x := engine{e.Name, about, map[string]any{}}
		for _, s := range e.Settings() {
			x.Settings[s.Key] = s.Value
		}
		a.Engines = append(a.Engines, x)
	}
	a.Limits = map[string]map[string]float64{}
	for _, s := range settings {
		a.Limits[s.key] = map[string]float64{"low": s.low, "high": s.high}
	}
	for _, c := range p.answers() {
		for _, n := range c.takes.numbers {
			a.Limits[n.key] = map[string]float64{"low": n.low, "high": n.high, "usual": n.usual}
		}
	}
	a.Readers = map[string][]string{}
	for _, s := range []reader.Signal{reader.Ion, reader.Pressure} {
		a.Readers[s.String()] = reader.Names(s)
	}
	for _, k := range control.Kinds() {
		a.Laws = append(a.Laws, law{k.Name, k.About, append([]control.Need{}, k.Needs...)})
	}
	for _, k := range sensor.Kinds() {
		a.Faults = append(a.Faults, fault{k.Name, k.Instrument, k.Unit, k.About, k.Typical})
	}
	a.Caution, a.Version = record.Caution, p.version
	answer(w, a)
}
