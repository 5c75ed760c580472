package loop

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"iter"
	"math"
	"slices"
	"strconv"
	"strings"

	"phasebench/scenarios/control"
	"phasebench/scenarios/dataset"
	"phasebench/scenarios/record"
	"phasebench/scenarios/stream"
)

// States lists the states of a guard, the least interference first: guard_state in
// a log is a place in it.
func States() []control.State {
	return []control.State{control.Follow, control.Limit, control.Hold, control.Return, control.Fallback}
}

// entry is one cycle of a log.
type entry struct {
	*Step
	split float64 // by which a trailing plug fires later unless it was ordered apart [rad]; NaN: one plug
}

// field is one column of a log, what is seen and done first, the truth last.
type field struct {
	name, unit, about string
	kind              dataset.Kind
	scale             float64
	of                func(e entry) float64 // in SI
}

// fields is the one table of columns of a log; names are a contract. What is true
// has the names that package traces gives it.
var fields = []field{
	{"cycle", "", "number of the cycle in the run", dataset.Whole, 1, func(e entry) float64 { return float64(e.Cycle) }},
	{"time_s", "s", "from the start of the run to the end of the cycle", dataset.Number, 1, func(e entry) float64 { return e.Time }},
	{"speed_rpm", "rpm", "mean shaft speed of the cycle", dataset.Number, rpm, func(e entry) float64 { return e.Speed }},
	{"map_kpa", "kPa", "manifold absolute pressure", dataset.Number, 1e3, func(e entry) float64 { return e.MAP }},
	{"target_deg_atdc", "deg", "LPP that was asked for", dataset.Number, deg, func(e entry) float64 { return e.Target }},
	{"manual_offset_deg", "deg", "by which a hand made both plugs fire earlier than ordered", dataset.Number, deg, func(e entry) float64 { return e.Manual }},
	{"base_deg_btdc", "deg", "spark of the base map there", dataset.Number, deg, func(e entry) float64 { return e.Base }},
	{"wanted_deg_btdc", "deg", "spark that the law wanted for the cycles to come", dataset.Number, deg, func(e entry) float64 { return e.Want.Leading }},
	{"ordered_deg_btdc", "deg", "spark that the guard let pass for the cycles to come", dataset.Number, deg, func(e entry) float64 { return e.Ordered.Leading }},
	{"spark_deg_btdc", "deg", "spark that this cycle fired with", dataset.Number, deg, func(e entry) float64 { return e.Fired.Leading }},
	{"trailing_spark_deg_btdc", "deg", "that of the trailing plug; none with one plug", dataset.Number, deg, entry.trailing},
	{"read_deg_atdc", "deg", "pressure peak by the reader, of this cycle alone; none where it declined", dataset.Number, deg, func(e entry) float64 { return e.Single.Angle }},
	{"quality", "", "of that reading, 0 to 1", dataset.Number, 1, func(e entry) float64 { return e.Single.Quality }},
	{"averaged_deg_atdc", "deg", "what the law went by: the average of readings, or the same reading without one", dataset.Number, deg, func(e entry) float64 { return e.Reading.Angle }},
	{"knock_loudness", "", "heard by the knock sensor, over the usual", dataset.Number, 1, func(e entry) float64 { return e.Knock }},
	{"measured_pmax_bar", "bar", "peak pressure by the transducer", dataset.Number, 1e5, func(e entry) float64 { return e.Gauge }},
	{"measured_torque_nm", "N m", "brake torque by the dynamometer", dataset.Number, 1, func(e entry) float64 { return e.Torque }},
	{"airflow_g_s", "g/s", "by the air meter", dataset.Number, 1e-3, func(e entry) float64 { return e.Airflow }},
	{"guard_state", "", "what the guard did with the order: " + codes(), dataset.Whole, 1, func(e entry) float64 { return float64(slices.Index(States(), e.State)) }},
	{"advice_deg", "deg", "by which the law would advance the spark; negative: retard", dataset.Number, deg, func(e entry) float64 { return e.Advice.Off }},
	{"safe_from_deg_btdc", "deg", "the latest spark at which the reader can be believed there", dataset.Number, deg, func(e entry) float64 { return e.Safe.From }},
	{"safe_to_deg_btdc", "deg", "the earliest", dataset.Number, deg, func(e entry) float64 { return e.Safe.To }},

	{"lpp_deg_atdc", "deg", "true location of peak pressure", dataset.Number, deg, func(e entry) float64 { return e.Truth.LPP }},
	{"mbt_deg_btdc", "deg", "true spark advance of maximum brake torque of the mean cycle there", dataset.Number, deg, func(e entry) float64 { return e.Truth.MBT }},
	{"pmax_bar", "bar", "true peak pressure", dataset.Number, 1e5, func(e entry) float64 { return e.Truth.Peak }},
	{"ca50_deg_atdc", "deg", "50 % of what burns has burned", dataset.Number, deg, func(e entry) float64 { return e.Truth.CA50 }},
	{"knock_intensity_bar", "bar", "greatest amplitude of the ringing pressure, ordinary noise included", dataset.Number, 1e5, func(e entry) float64 { return e.Truth.KnockIntensity }},
	{"knocking", "", "the end gas ignited by itself", dataset.Flag, 1, func(e entry) float64 { return flag(e.Truth.Knocking) }},
	{"misfire", "", "less than 20 % burned", dataset.Flag, 1, func(e entry) float64 { return flag(e.Truth.Misfire) }},
	{"brake_torque_nm", "N m", "true mean of the cycle", dataset.Number, 1, func(e entry) float64 { return e.Truth.Torque }},
	{"brake_torque_at_mbt_nm", "N m", "that of the same cycle fired at MBT; none while the throttle moves", dataset.Number, 1, func(e entry) float64 { return e.TorqueMBT }},
}

// whyName is the column of words that files of text have besides.
const whyName = "guard_why"

// codes tells what guard_state means.
func codes() string {
	var all []string
	for i, s := range States() {
		all = append(all, fmt.Sprintf("%d %s", i, s))
	}
	return strings.Join(all, ", ")
}

func flag(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// trailing is the spark of the trailing plug [rad], NaN without one.
func (e entry) trailing() float64 {
	if t := e.Fired.Trailing; !math.IsNaN(t) {
		return t
	}
	return e.Fired.Leading - e.split
}

// value is what e has of f, in the unit of its name.
func (f *field) value(e entry) float64 { return f.of(e) / f.scale }

// entries yields the cycles from first up to but without last.
func (r *Run) entries(first, last int) iter.Seq[entry] {
	return func(yield func(entry) bool) {
		var schedule stream.Schedule
		if r.Scenario.Engine.Burn.Plugs == 2 {
			schedule = r.Scenario.schedule()
		}
		for i := first; i < min(last, len(r.Steps)); i++ {
			e := entry{&r.Steps[i], math.NaN()}
			if schedule != nil {
				op, _ := schedule.At(e.Cycle)
				e.split = op.Split
			}
			if !yield(e) {
				return
			}
		}
	}
}

// Source returns the log of r as rows of a dataset, one a cycle; it serves one
// goroutine, and never fails.
func (r *Run) Source() (dataset.Source, error) { return &logSource{run: r}, nil }

type logSource struct {
	run *Run
	row dataset.Row
}

// Columns implements dataset.Source.
func (s *logSource) Columns() []dataset.Column {
	var all []dataset.Column
	for i := range fields {
		f := &fields[i]
		all = append(all, dataset.Column{Name: f.name, Unit: f.unit, About: f.about, Kind: f.kind})
	}
	return all
}

// Rows implements dataset.Source.
func (s *logSource) Rows(first, last int) iter.Seq2[*dataset.Row, error] {
	return func(yield func(*dataset.Row, error) bool) {
		if last > len(s.run.Steps) {
			yield(nil, fmt.Errorf("loop: cycles %d to %d of a run of %d", first, last-1, len(s.run.Steps)))
			return
		}
		for e := range s.run.entries(first, last) {
			s.row.Labels = s.row.Labels[:0]
			for i := range fields {
				s.row.Labels = append(s.row.Labels, fields[i].value(e))
			}
			if !yield(&s.row, nil) {
				return
			}
		}
	}
}

// text writes a value as files of text have it; "" is none.
func (f *field) text(v float64) string {
	switch {
	case f.kind == dataset.Flag:
		return strconv.FormatBool(v == 1)
	case f.kind == dataset.Whole:
		return strconv.FormatInt(int64(v), 10)
	}
	if x := record.Number(v, 1); x != nil {
		return strconv.FormatFloat(*x, 'g', 9, 64)
	}
	return ""
}

// WriteCSV writes the log of run (RFC 4180, a header line; an empty field is a value
// that the cycle does not have): the columns of Source, then guard_why, in words the
// rule by which the guard decided. Each line of notes goes before the header behind
// "# ". Errors are those of w.
func WriteCSV(w io.Writer, run *Run, notes []string) error {
	if err := record.Notes(w, notes); err != nil {
		return err
	}
	out := csv.NewWriter(w)
	var row []string
	for i := range fields {
		row = append(row, fields[i].name)
	}
	if err := out.Write(append(row, whyName)); err != nil {
		return err
	}
	for e := range run.entries(0, len(run.Steps)) {
		row = row[:0]
		for i := range fields {
			row = append(row, fields[i].text(fields[i].value(e)))
		}
		if err := out.Write(append(row, e.Why)); err != nil {
			return err
		}
	}
	out.Flush()
	return out.Error()
}

// Rows are the cycles of a log for JSON: objects with the columns of Source in order
// as keys, then guard_why; a null is a number that the cycle does not have.
type Rows struct{ run *Run }

// Rows returns the log of r for JSON.
func (r *Run) Rows() Rows { return Rows{r} }

// MarshalJSON implements json.Marshaler.
func (r Rows) MarshalJSON() ([]byte, error) {
	b := []byte{'['}
	for e := range r.run.entries(0, len(r.run.Steps)) {
		if len(b) > 1 {
			b = append(b, ',')
		}
		b = append(b, '{')
		for i := range fields {
			text := fields[i].text(fields[i].value(e))
			if text == "" {
				text = "null"
			}
			b = fmt.Appendf(b, "%q:%s,", fields[i].name, text)
		}
		why, err := json.Marshal(e.Why)
		if err != nil {
			return nil, err
		}
		b = append(fmt.Appendf(b, "%q:", whyName), why...)
		b = append(b, '}')
	}
	return append(b, ']'), nil
}
