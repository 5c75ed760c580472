package loop

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/sensor"
	"phasebench/scenarios/stream"
)

// reading is a file that is being read.
type reading struct {
	*outline
	file       string
	engine     *model.Engine
	engineGood bool
	faults     fileFaults
	told       map[string]bool     // keys with a fault
	known      map[string][]string // names that a table may have, by its key
}

// tell notes a fault of key, once. given counts where the file has no such key.
func (r *reading) tell(key, given, want string) {
	if r.told[key] {
		return
	}
	r.told[key] = true
	if it := r.by[key]; it != nil && it.value != nil {
		given = it.value.String()
	}
	row, col := r.find(key)
	r.faults = append(r.faults, &fileFault{r.file, row, col, &model.Problem{Key: key, Given: given, Want: want}})
}

// take returns the value of key, nil if there is none or a fault in it.
func (r *reading) take(key string) *value {
	it := r.by[key]
	if it == nil || it.value == nil {
		return nil
	}
	it.taken = true
	if r.told[key] {
		return nil
	}
	return it.value
}

// enter allows a table and tells whether the file has it.
func (r *reading) enter(table string) bool {
	it := r.by[table]
	if it != nil && it.value == nil {
		it.taken = true
		return true
	}
	for _, it := range r.items { // by dotted keys
		if strings.HasPrefix(it.key, table+".") {
			return true
		}
	}
	return false
}

// allow notes a name that the table of prefix may have.
func (r *reading) allow(prefix, name string) { r.known[prefix] = append(r.known[prefix], name) }

func (r *reading) loadEngine() {
	name := engineName
	if v := r.take("engine"); v != nil {
		if want := (word{&name}).set(v); want != "" {
			r.tell("engine", "", want)
		}
	}
	at := name
	if strings.HasSuffix(name, ".toml") && !filepath.IsAbs(name) {
		at = filepath.Join(filepath.Dir(r.file), name)
	}
	var err error
	if r.engine, err = model.Load(at); err == nil {
		r.engineGood = !r.told["engine"]
		return
	}
	want := fmt.Sprintf("one of %s, or a file .toml beside this one", strings.Join(model.Names(), ", "))
	if !errors.Is(err, model.ErrUnknown) {
		want = "an engine file: " + err.Error()
	}
	r.tell("engine", "", want)
	if r.engine, err = model.Load(engineName); err != nil {
		panic(err) // it is embedded
	}
}

// scenario puts together what the file says, and tells of keys and types that are wrong.
func (r *reading) scenario() *Scenario {
	r.known = map[string][]string{}
	for _, it := range r.items {
		it.taken = false
	}
	s := Usual(r.engine)
	r.take("engine")
	r.allow("", "engine")
	fill(r, &s, "", &s, topKeys)
	r.legs(&s)
	section(r, &s, "actuator", &s.Actuator, actuatorKeys)
	r.sensing(&s)
	r.law(&s)
	section(r, &s, "guard", &s.Guard, guardKeys)
	s.Guard.Numbers = r.numbers("guard.", control.GuardNumbers, true)
	r.base(&s)
	section(r, &s, "ceiling", &s.Ceiling, ceilingKeys)
	if section(r, &s, "knobs", &stream.Knobs{}, nil) {
		s.Knobs = &stream.Knobs{}
		fill(r, &s, "knobs.", s.Knobs, knobKeys)
		for i, k := range stream.Table {
			if key := "knobs." + knobKeys[i].name; r.by[key] == nil {
				r.tell(key, "", fmt.Sprintf("%g to %g; all knobs, or no such table", k.Low, k.High))
			}
		}
	}
	r.rest()
	return &s
}

// fill sets the keys of a table of the file.
func fill[T any](r *reading, s *Scenario, prefix string, to *T, keys []key[T]) {
	for i := range keys {
		k := &keys[i]
		name := prefix + k.name
		ruledOut := ""
		if k.not != nil && r.engineGood {
			ruledOut = k.not(s)
		}
		if ruledOut == "" {
			r.allow(prefix, k.name)
		}
		v := r.take(name)
		if v == nil {
			continue
		}
		if ruledOut != "" {
			r.tell(name, "", "no such key with "+ruledOut)
		} else if want := k.at(to).set(v); want != "" {
			r.tell(name, "", want)
		}
	}
}

// section is fill for a table that stands alone; it tells whether the file has it.
func section[T any](r *reading, s *Scenario, table string, to *T, keys []key[T]) bool {
	r.allow("", "["+table+"]")
	if !r.enter(table) {
		return false
	}
	fill(r, s, table+".", to, keys)
	return true
}

// legs reads [[at]].
func (r *reading) legs(s *Scenario) {
	r.allow("", "[[at]]")
	for i := range r.rows["at"] {
		table := fmt.Sprintf("at[%d]", i)
		r.enter(table)
		l := s.Legs[len(s.Legs)-1]
		if i > 0 {
			if cycle := table + ".cycle"; r.by[cycle] == nil {
				r.tell(cycle, "", fmt.Sprintf("more than %d", l.Cycle+l.Over))
			}
			if spark := table + "." + sparkKey; r.take(spark) != nil {
				r.tell(spark, "", "no such key but in the first row: the loop moves the spark")
			}
			l.Cycle, l.Over = l.Cycle+l.Over+1, 0
		}
		fill(r, s, table+".", &l, legKeys)
		if i == 0 {
			s.Legs[0] = l
		} else {
			s.Legs = append(s.Legs, l)
		}
	}
}

// sensing reads [reader] and [[fault]].
func (r *reading) sensing(s *Scenario) {
	plain := s.Sensing
	section(r, s, "reader", &s.Sensing, readerKeys)
	if s.Sensing.Signal != plain.Signal && r.take("reader.name") == nil {
		s.Sensing.Reader = UsualReader(s.Sensing.Signal)
	}
	if r.told["reader.signal"] { // nobody knows of what it should be
		s.Sensing.Reader = plain.Reader
	}
	r.allow("", "[[fault]]")
	for i := range r.rows["fault"] {
		table := fmt.Sprintf("fault[%d]", i)
		r.enter(table)
		f := sensor.Fault{To: -1}
		fill(r, s, table+".", &f, faultKeys)
		if r.by[table+".name"] == nil {
			r.tell(table+".name", "", "the name of a fault")
		}
		if typical, err := sensor.ParseFault(f.Name); err == nil && r.take(table+".severity") == nil {
			f.Severity = typical.Severity
		}
		s.Sensing.Faults = append(s.Sensing.Faults, f)
	}
}

// law reads [law].
func (r *reading) law(s *Scenario) {
	if name := r.by["law.name"]; name != nil && name.value != nil && name.value.text == Outside {
		s.Law.Limit = usualLimit
	}
	section(r, s, "law", &s.Law, lawKeys)
	numbers, ok := lawNumbers(s.Law.Name)
	s.Law.Numbers = r.numbers("law.", numbers, ok && !r.told["law.name"])
	r.allow("law.", "[law.knock_numbers]")
	if r.enter("law.knock_numbers") {
		numbers, ok := lawNumbers(s.Law.Knock)
		s.Law.KnockOf = r.numbers("law.knock_numbers.", numbers, ok && !r.told["law.knock"])
	}
}

// numbers reads those of table within a table of the file; sure: nothing else can be
// one. It is nil where there are none.
func (r *reading) numbers(prefix string, table []control.Number, sure bool) map[string]float64 {
	var all map[string]float64
	one := func(name string) {
		x := 0.
		v := r.take(prefix + name)
		if v == nil {
			return
		}
		if want := (real{&x, 1}).set(v); want != "" {
			r.tell(prefix+name, "", want)
			return
		}
		if all == nil {
			all = map[string]float64{}
		}
		all[name] = x
	}
	for _, n := range table {
		r.allow(prefix, n.Key)
		one(n.Key)
	}
	if sure {
		return all
	}
	for _, it := range r.items { // of a law that nobody knows
		if name, ok := strings.CutPrefix(it.key, prefix); ok && !it.taken && !strings.Contains(name, ".") {
			r.take(it.key)
		}
	}
	return all
}

// base reads [base].
func (r *reading) base(s *Scenario) {
	r.allow("", "[base]")
	r.enter("base")
	var t control.Table
	given := 0
	for _, name := range tableKeys {
		r.allow("base.", name)
		if r.by["base."+name] != nil {
			given++
		}
	}
	if given > 0 {
		for i, to := range []*[]float64{&t.Speeds, &t.MAPs} {
			r.list("base."+tableKeys[i], []float64{rpm, 1e3}[i], to)
		}
		key := "base." + tableKeys[2]
		if v := r.take(key); v != nil {
			good := v.kind == unstable.Array
			for _, x := range v.list {
				row, ok := x.reals(deg)
				t.Spark = append(t.Spark, row)
				good = good && ok
			}
			if !good {
				r.tell(key, "", "a list of lists of numbers")
			}
		}
		for _, name := range tableKeys {
			if r.by["base."+name] == nil {
				r.tell("base."+name, "", "all of "+strings.Join(tableKeys, ", ")+", or none of them")
			}
		}
		s.Base = Base{Table: &t}
	}
	fill(r, s, "base.", &s.Base, baseKeys)
	for _, name := range tableKeys {
		if r.told["base."+name] { // no table to check
			s.Base.Table = nil
		}
	}
}

// list reads a list of numbers.
func (r *reading) list(key string, scale float64, to *[]float64) {
	if v := r.take(key); v != nil {
		all, ok := v.reals(scale)
		if !ok {
			r.tell(key, "", "a list of numbers")
		}
		*to = all
	}
}

// reals returns a list of numbers in SI.
func (v *value) reals(scale float64) ([]float64, bool) {
	var all []float64
	good := v.kind == unstable.Array
	for _, x := range v.list {
		y, ok := x.number(scale)
		all = append(all, y)
		good = good && ok
	}
	return all, good
}

// rest tells of what nobody asked for.
func (r *reading) rest() {
	hidden := []string{} // tables that are not known, with all in them
	for _, it := range r.items {
		if it.taken || slices.ContainsFunc(hidden, func(table string) bool { return strings.HasPrefix(it.key, table) }) {
			continue
		}
		prefix := ""
		if cut := strings.LastIndexByte(it.key, '.'); cut >= 0 && r.known[it.key[:cut+1]] != nil {
			prefix = it.key[:cut+1]
		}
		given := "(a table)"
		if it.value == nil {
			hidden = append(hidden, it.key+".")
		}
		want := "no such key"
		if names := r.known[prefix]; len(names) > 0 {
			want += ", but one of " + strings.Join(names, ", ")
		}
		r.tell(it.key, given, want)
	}
}
