package loop

import (
	"bytes"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"

	"phasebench/model"
	"phasebench/scenarios/control"
	"phasebench/scenarios/record"
)

// Write writes s, whose engine is an embedded one, as a scenario file that Parse reads
// back to the same s, every number exactly. What has no effect is not written: sparks
// of legs after the first, Retard where there is a Table, what only outside laws have
// where the law is another, numbers of Outside or of no knock law, and what only an
// engine with two plugs has for one with one.
//
// Errors are a *model.Problem where s is not in order or has another engine, which
// WriteNamed is for.
func Write(w io.Writer, s *Scenario) error {
	if e, err := model.Load(s.Engine.Name); err != nil || !reflect.DeepEqual(e, s.Engine) {
		return bad("engine", strconv.Quote(s.Engine.Name), "an embedded engine as it is, or a file of it, to be named")
	}
	return WriteNamed(w, s, s.Engine.Name)
}

// WriteNamed is Write for an engine that model.Load knows by name: an embedded one, or
// a file .toml, its path relative to that of the scenario.
func WriteNamed(w io.Writer, s *Scenario, engine string) error {
	if all := s.problems(); len(all) > 0 {
		return all[0]
	}
	p := &printer{s: s}
	fmt.Fprintf(&p.Buffer, "# %s\n\n", record.Caution)
	put(p, s, topKeys[:1], true, nil)
	p.line("engine", quoted(engine), "an embedded one, or a file .toml beside this one")
	put(p, s, topKeys[1:], true, nil)
	for i := range s.Legs {
		p.table("[[at]]")
		l := s.Legs[i]
		if i == 0 {
			put(p, &l, legKeys, true, nil)
			continue
		}
		before := s.Legs[i-1]
		l.Operating.Spark, before.Operating.Spark, before.Over, before.Cycle = 0, 0, 0, -1
		put(p, &l, legKeys, false, &before)
	}
	p.table("[actuator]")
	put(p, &s.Actuator, actuatorKeys, true, nil)
	p.table("[reader]")
	put(p, &s.Sensing, readerKeys, true, nil)
	p.table("[law]")
	put(p, &s.Law, lawKeys, true, nil)
	if s.Law.Name != Outside {
		numbers, _ := lawNumbers(s.Law.Name)
		p.numbers(s.Law.Numbers, numbers)
	}
	if s.Law.Knock != "" && len(s.Law.KnockOf) > 0 {
		p.table("[law.knock_numbers]")
		numbers, _ := lawNumbers(s.Law.Knock)
		p.numbers(s.Law.KnockOf, numbers)
	}
	p.table("[guard]")
	put(p, &s.Guard, guardKeys, true, nil)
	p.numbers(s.Guard.Numbers, control.GuardNumbers)
	p.table("[base]")
	put(p, &s.Base, baseKeys, true, nil)
	if t := s.Base.Table; t != nil {
		p.line(tableKeys[0], decimals(t.Speeds, rpm), "ascending")
		p.line(tableKeys[1], decimals(t.MAPs, 1e3), "ascending")
		rows := make([]string, len(t.Spark))
		for i, row := range t.Spark {
			rows[i] = "\n  " + decimals(row, deg)
		}
		p.line(tableKeys[2], "["+strings.Join(rows, ",")+"\n]", "a row for each speed")
	}
	p.table("[ceiling]")
	put(p, &s.Ceiling, ceilingKeys, true, nil)
	if s.Knobs != nil {
		p.table("[knobs]")
		put(p, s.Knobs, knobKeys, true, nil)
	}
	for i := range s.Sensing.Faults {
		p.table("[[fault]]")
		put(p, &s.Sensing.Faults[i], faultKeys, false, nil)
	}
	_, err := w.Write(p.Bytes())
	return err
}

// printer is a scenario file in the making.
type printer struct {
	bytes.Buffer
	s *Scenario
}

func (p *printer) table(name string) { fmt.Fprintf(&p.Buffer, "\n%s\n", name) }

func (p *printer) line(name, text, about string) {
	fmt.Fprintf(&p.Buffer, "%s = %s", name, text)
	if about != "" {
		fmt.Fprintf(&p.Buffer, " # %s", about)
	}
	p.WriteByte('\n')
}

// put writes the keys of a table, told what they are about if asked for; with before
// only what differs from it.
func put[T any](p *printer, from *T, keys []key[T], told bool, before *T) {
	for i := range keys {
		k := &keys[i]
		if k.not != nil && k.not(p.s) != "" || k.unset != nil && k.unset(from) {
			continue
		}
		text := k.at(from).text()
		if before != nil && text == k.at(before).text() {
			continue
		}
		about := ""
		if told {
			about = k.about
		}
		p.line(k.name, text, about)
	}
}

// numbers writes those given, in the order of table.
func (p *printer) numbers(given map[string]float64, table []control.Number) {
	for _, n := range table {
		if x, ok := given[n.Key]; ok {
			p.line(n.Key, decimal(x, 1), n.About)
		}
	}
}

// decimals writes a list of numbers.
func decimals(all []float64, scale float64) string {
	text := make([]string, len(all))
	for i, v := range all {
		text[i] = decimal(v, scale)
	}
	return "[" + strings.Join(text, ", ") + "]"
}
