package loop

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// outline is a TOML file as keys with their places. A key is dotted, and rows of a
// list of tables are counted: at[1].speed_rpm.
type outline struct {
	items  []*item
	by     map[string]*item
	places map[string]unstable.Position // of keys and tables
	rows   map[string]int               // of lists of tables
}

// item is one key with its value, or a table that was opened.
type item struct {
	key   string
	value *value // nil: a table
	taken bool   // somebody asked for it
}

// value is a value as it is written.
type value struct {
	kind unstable.Kind
	text string // of a string: what is in it
	list []*value
}

// String returns v for messages.
func (v *value) String() string {
	text := v.text
	switch v.kind {
	case unstable.String:
		text = strconv.Quote(v.text)
	case unstable.InlineTable:
		text = "{…}"
	case unstable.Array:
		all := make([]string, len(v.list))
		for i, x := range v.list {
			all[i] = x.String()
		}
		text = "[" + strings.Join(all, ", ") + "]"
	}
	const most = 80 // runes
	if r := []rune(text); len(r) > most {
		text = string(r[:most]) + "…"
	}
	return text
}

// newOutline reads data. What is not TOML is an error with its row and column.
func newOutline(data []byte) (o *outline, row, col int, err error) {
	if err := toml.Unmarshal(data, &map[string]any{}); err != nil {
		row, col := 1, 1
		if d := (*toml.DecodeError)(nil); errors.As(err, &d) {
			row, col = d.Position()
		}
		return nil, row, col, errors.New(strings.TrimPrefix(err.Error(), "toml: "))
	}
	o = &outline{by: map[string]*item{}, places: map[string]unstable.Position{}, rows: map[string]int{}}
	p := unstable.Parser{}
	p.Reset(data)
	table := ""
	for p.NextExpression() {
		switch node := p.Expression(); node.Kind {
		case unstable.Table:
			key := o.path(&p, "", node, true)
			o.open(key)
			table = key + "."
		case unstable.ArrayTable:
			key := o.path(&p, "", node, false)
			row := fmt.Sprintf("%s[%d]", key, o.rows[key])
			o.rows[key]++
			o.places[row] = start(&p, node)
			o.open(row)
			table = row + "."
		case unstable.KeyValue:
			o.pair(&p, table, node)
		}
	}
	if err := p.Error(); err != nil {
		return nil, 1, 1, err // it was read once already
	}
	return o, 0, 0, nil
}

// start is where the key of node stands.
func start(p *unstable.Parser, node *unstable.Node) unstable.Position {
	it := node.Key()
	it.Next()
	return p.Shape(it.Node().Raw).Start
}

// path is the key of node within a table, and places it and the tables it opens. A
// list of tables stands for its last row; last: at the end of the path too.
func (o *outline) path(p *unstable.Parser, table string, node *unstable.Node, last bool) string {
	at, key := start(p, node), table
	for it := node.Key(); it.Next(); {
		part := string(it.Node().Data)
		if strings.Trim(part, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-") != "" || part == "" {
			part = strconv.Quote(part) // a dot within quotes is none
		}
		key += part
		if n := o.rows[key]; n > 0 && (last || !it.IsLast()) {
			key += fmt.Sprintf("[%d]", n-1)
		}
		if _, ok := o.places[key]; !ok {
			o.places[key] = at
		}
		if !it.IsLast() {
			key += "."
		}
	}
	return key
}

// open notes a table.
func (o *outline) open(key string) { o.put(&item{key: key}) }

func (o *outline) put(it *item) {
	if _, ok := o.by[it.key]; !ok {
		o.items, o.by[it.key] = append(o.items, it), it
	}
}

// pair notes a key within a table, and what is in its value.
func (o *outline) pair(p *unstable.Parser, table string, node *unstable.Node) {
	o.note(p, o.path(p, table, node, true), node.Value())
}

func (o *outline) note(p *unstable.Parser, key string, node *unstable.Node) {
	if node.Kind == unstable.InlineTable {
		o.open(key)
		for it := node.Children(); it.Next(); {
			o.pair(p, key+".", it.Node())
		}
		return
	}
	v := valueOf(node)
	tables := len(v.list) > 0
	for _, x := range v.list {
		tables = tables && x.kind == unstable.InlineTable
	}
	if !tables {
		o.put(&item{key: key, value: v})
		return
	}
	for it := node.Children(); it.Next(); {
		row := fmt.Sprintf("%s[%d]", key, o.rows[key])
		o.places[row] = p.Shape(it.Node().Raw).Start
		o.note(p, row, it.Node())
		o.rows[key]++
	}
}

func valueOf(node *unstable.Node) *value {
	v := &value{kind: node.Kind, text: string(node.Data)}
	if node.Kind == unstable.Array {
		for it := node.Children(); it.Next(); {
			v.list = append(v.list, valueOf(it.Node()))
		}
	}
	return v
}

// find returns the place of key, or of the nearest table around it.
func (o *outline) find(key string) (row, col int) {
	for {
		if at, ok := o.places[key]; ok {
			return at.Line, at.Column
		}
		cut := strings.LastIndexByte(key, '.')
		if cut < 0 {
			return 1, 1
		}
		key = key[:cut]
	}
}
