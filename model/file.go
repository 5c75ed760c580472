package model

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// ErrFile is wrapped by every error about the content of an engine file.
var ErrFile = errors.New("not a valid engine file")

// fault is a problem with its place in a file.
type fault struct {
	row, col int
	text     string
}

// FileError lists every fault of an engine file, in order of rows.
type FileError struct {
	File   string
	faults []fault
}

func (f *FileError) Error() string {
	lines := make([]string, len(f.faults))
	for i, x := range f.faults {
		lines[i] = fmt.Sprintf("%s:%d:%d: %s", f.File, x.row, x.col, x.text)
	}
	return strings.Join(lines, "\n")
}

// Is makes a FileError an ErrFile.
func (f *FileError) Is(target error) bool { return target == ErrFile }

// Parse reads an engine file (TOML 1.0). file is its name in errors; an error
// is a *FileError that names row, column, key, value and what is allowed.
func Parse(file string, data []byte) (*Engine, error) {
	bad := &FileError{File: file}
	tree := map[string]any{}
	if err := toml.Unmarshal(data, &tree); err != nil {
		row, col := 1, 1
		if d := (*toml.DecodeError)(nil); errors.As(err, &d) {
			row, col = d.Position()
		}
		bad.faults = []fault{{row, col, strings.TrimPrefix(err.Error(), "toml: ")}}
		return nil, bad
	}
	places := locate(data)
	report := func(key, text string) {
		p := places.find(key)
		bad.faults = append(bad.faults, fault{p.Line, p.Column, text})
	}

	values := map[string]any{}
	flatten("", tree, values)
	e := &Engine{}
	for _, w := range words {
		v, ok := values[w.key]
		if w.when != nil && !w.when(e) {
			if ok {
				report(w.key, fmt.Sprintf("%s = %v: want no such key with %s", w.key, v, context(w.key, e)))
				delete(values, w.key)
			}
			continue
		}
		delete(values, w.key)
		text, isText := v.(string)
		switch {
		case !ok && w.fallback == "":
			report(w.key, (&Problem{Key: w.key, Want: "a text"}).Error())
		case !ok:
			*w.at(e) = w.fallback
		case !isText || w.unsaid != "" && text == "":
			report(w.key, fmt.Sprintf("%s = %v: want a text in quotes", w.key, v))
		default:
			*w.at(e) = text
		}
	}
	for _, l := range lists {
		v, ok := values[l.key]
		if !ok {
			continue
		}
		delete(values, l.key)
		items, isList := v.([]any)
		for _, item := range items {
			x, isNumber := asNumber(item)
			isList = isList && isNumber
			*l.at(e) = append(*l.at(e), x*l.scale)
		}
		if !isList || len(items) == 0 {
			report(l.key, fmt.Sprintf("%s = %v: want a list of numbers", l.key, v))
		}
	}
	for i := range quantities {
		q := &quantities[i]
		v, ok := values[q.key]
		if !q.applies(e) {
			if ok {
				report(q.key, fmt.Sprintf("%s = %v: want no such key with %s", q.key, v, context(q.key, e)))
				delete(values, q.key)
			}
			continue
		}
		delete(values, q.key)
		x, isNumber := asNumber(v)
		switch {
		case !ok && math.IsNaN(q.fallback):
			report(q.key, (&Problem{Key: q.key, Want: q.want()}).Error())
			*q.at(e) = math.NaN()
		case !ok:
			*q.at(e) = q.fallback * q.scale
		case !isNumber:
			report(q.key, fmt.Sprintf("%s = %v: want a number, %s", q.key, v, q.want()))
			*q.at(e) = math.NaN()
		default:
			*q.at(e) = x * q.scale
		}
	}
	for key, v := range values {
		report(key, fmt.Sprintf("%s = %v: unknown key%s", key, v, suggest(key)))
	}
	reported := len(bad.faults) > 0
	for _, p := range e.problems() {
		if !reported || p.Given != "NaN" && p.Given != `""` {
			report(p.Key, p.Error())
		}
	}
	if len(bad.faults) > 0 {
		slices.SortFunc(bad.faults, func(a, b fault) int {
			if a.row != b.row {
				return a.row - b.row
			}
			return strings.Compare(a.text, b.text)
		})
		return nil, bad
	}
	return e, nil
}

// context names the choice that rules out a key.
func context(key string, e *Engine) string {
	other := *e
	kind := KindRotary
	if other.Kind = KindPiston; !e.Rotary() {
		kind, other.Kind = KindPiston, KindRotary
	}
	switch {
	case slices.ContainsFunc(quantities, func(q quantity) bool { return q.key == key && q.applies(&other) }):
		return fmt.Sprintf("geometry.kind = %q", kind)
	case strings.HasPrefix(key, "wall."):
		return fmt.Sprintf("wall.law = %q", e.Wall.Law)
	case strings.HasPrefix(key, "friction."):
		return fmt.Sprintf("friction.law = %q", e.Friction.Law)
	case strings.HasPrefix(key, "intake."), strings.HasPrefix(key, "exhaust."):
		return "a lift table"
	case strings.Contains(key, "second_plug"), strings.HasSuffix(key, "trailing_split_deg"),
		e.Rotary() && !twin(e) && (key == "burn.leading_share" || key == "burn.trailing_slowdown"):
		return "burn.plugs = 1"
	case strings.HasPrefix(key, "burn.tail_"):
		return "burn.tail_share = 0"
	case strings.HasPrefix(key, "burn.second_") && staged(e):
		return "burn.second_share = 0"
	}
	return fmt.Sprintf("burn.law = %q", e.Burn.Law)
}

// flatten lists the leaves of tree by dotted key.
func flatten(prefix string, tree map[string]any, into map[string]any) {
	for k, v := range tree {
		if sub, ok := v.(map[string]any); ok && len(sub) > 0 {
			flatten(prefix+k+".", sub, into)
		} else {
			into[prefix+k] = v
		}
	}
}

func asNumber(v any) (float64, bool) {
	switch x := v.(type) {
	case float64:
		return x, true
	case int64:
		return float64(x), true
	}
	return 0, false
}

// places maps dotted keys and table names to their position.
type places map[string]unstable.Position

// find returns the place of key, or of the nearest table around it.
func (p places) find(key string) unstable.Position {
	for {
		if at, ok := p[key]; ok {
			return at
		}
		cut := strings.LastIndexByte(key, '.')
		if cut < 0 {
			return unstable.Position{Line: 1, Column: 1}
		}
		key = key[:cut]
	}
}

// locate finds where keys stand in data, which is valid TOML.
func locate(data []byte) places {
	found := places{}
	p := unstable.Parser{}
	p.Reset(data)
	table := ""
	for p.NextExpression() {
		node := p.Expression()
		if node.Kind != unstable.KeyValue && node.Kind != unstable.Table && node.Kind != unstable.ArrayTable {
			continue
		}
		var path []string
		at := unstable.Position{}
		for it := node.Key(); it.Next(); {
			if len(path) == 0 {
				at = p.Shape(it.Node().Raw).Start
			}
			path = append(path, string(it.Node().Data))
		}
		key := strings.Join(path, ".")
		if node.Kind == unstable.KeyValue {
			key = table + key
		} else {
			table = key + "."
		}
		for { // a dotted key also places the tables it opens
			if _, ok := found[key]; !ok {
				found[key] = at
			}
			cut := strings.LastIndexByte(key, '.')
			if cut < 0 {
				break
			}
			key = key[:cut]
		}
	}
	return found
}

// suggest names the nearest known key, if one is near.
func suggest(key string) string {
	best, least := "", 4
	consider := func(k string) {
		if d := distance(key, k); d < least {
			best, least = k, d
		}
	}
	for _, w := range words {
		consider(w.key)
	}
	for i := range quantities {
		consider(quantities[i].key)
	}
	for i := range lists {
		consider(lists[i].key)
	}
	if best == "" {
		return ""
	}
	return "; did you mean " + best + "?"
}

// distance is the number of single-letter edits between a and b.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			cost := diagonal
			if a[i] != b[j] {
				cost++
			}
			diagonal = row[j+1]
			row[j+1] = min(cost, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// TOML writes e as an engine file that Parse reads back; every key carries
// its meaning and range as a comment.
func (e *Engine) TOML() []byte {
	var b bytes.Buffer
	table := ""
	line := func(key, value, about string) {
		name := key
		if cut := strings.LastIndexByte(key, '.'); cut >= 0 {
			if t := key[:cut]; t != table {
				table = t
				fmt.Fprintf(&b, "\n[%s]\n", t)
			}
			name = key[cut+1:]
		}
		fmt.Fprintf(&b, "%s = %s # %s\n", name, value, about)
	}
	write := func(prefix string, tables bool) {
		for _, w := range words {
			if strings.HasPrefix(w.key, prefix) && strings.Contains(w.key, ".") == tables && w.said(e) {
				about := w.about
				if w.allowed != nil {
					about += ": " + strings.Join(w.allowed(), ", ")
				}
				line(w.key, quote(*w.at(e)), about)
			}
		}
	}
	write("", false)
	for i := range quantities {
		q := &quantities[i]
		if prefix := q.key[:strings.IndexByte(q.key, '.')+1]; prefix != table+"." {
			write(prefix, true)
			for _, l := range lists {
				if v := *l.at(e); strings.HasPrefix(l.key, prefix) && len(v) > 0 {
					items := make([]string, len(v))
					for k := range v {
						items[k] = number(v[k] / l.scale)
					}
					line(l.key, "["+strings.Join(items, ", ")+"]", l.about)
				}
			}
		}
		if q.applies(e) {
			v := number(q.value(e))
			if !strings.ContainsAny(v, ".e") {
				v += ".0"
			}
			line(q.key, v, q.about+" ("+q.want()+")")
		}
	}
	return b.Bytes()
}

// quote writes s as a TOML basic string.
func quote(s string) string {
	text, err := toml.Marshal(map[string]string{"s": s})
	if err != nil {
		return `""` // a string always marshals
	}
	return strings.TrimSpace(strings.TrimPrefix(string(text), "s = "))
}
