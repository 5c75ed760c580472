package dataset

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"github.com/parquet-go/parquet-go"
)

// rowGroup is the bytes of values after which a row group ends: our own choice; a
// writer holds one row group.
const rowGroup = 16 << 20

// inOrder is a group whose fields keep the order of the columns.
type inOrder struct {
	parquet.Group
	names []string
}

// Fields implements parquet.Node.
func (g inOrder) Fields() []parquet.Field {
	fields := g.Group.Fields()
	slices.SortFunc(fields, func(a, b parquet.Field) int {
		return slices.Index(g.names, a.Name()) - slices.Index(g.names, b.Name())
	})
	return fields
}

// parquetSchema is a column for each label and a list for each channel. Bytes of
// floats are split by place, which is what lets Zstandard find anything in them.
func parquetSchema(s *schema) *parquet.Schema {
	g := inOrder{Group: parquet.Group{}}
	add := func(c Column, n parquet.Node) {
		g.Group[c.Name], g.names = n, append(g.names, c.Name)
	}
	split := func(t parquet.Type) parquet.Node { return parquet.Encoded(parquet.Leaf(t), &parquet.ByteStreamSplit) }
	for _, c := range s.labels {
		switch c.Kind {
		case Whole:
			add(c, parquet.Int(64))
		case Flag:
			add(c, parquet.Leaf(parquet.BooleanType))
		default:
			add(c, parquet.Optional(split(parquet.DoubleType)))
		}
	}
	for _, c := range s.channels {
		add(c, parquet.List(split(parquet.FloatType)))
	}
	return parquet.NewSchema("cycle", g)
}

// parquetFile writes one column after another of each row, past the row reader of
// the library, which would cost a copy.
type parquetFile struct {
	file   *file
	schema *schema
	out    *parquet.GenericWriter[any]
	values []parquet.Value // of one column of the row
	bytes  int             // in the row group
}

func newParquet(j *job, f *file) (encoder, error) {
	units := map[string]string{}
	for _, c := range j.Columns {
		units[c.Name] = c.Unit
	}
	text, err := json.Marshal(units)
	if err != nil {
		return nil, f.named(err)
	}
	config, err := json.Marshal(j.Card.Config)
	if err != nil {
		return nil, f.named(err)
	}
	w := parquet.NewGenericWriter[any](f, parquetSchema(j.schema), parquet.Compression(&parquet.Zstd),
		parquet.CreatedBy(j.Card.Tool, j.Card.Version, ""),
		parquet.KeyValueMetadata("tool", j.Card.Tool), parquet.KeyValueMetadata("version", j.Card.Version),
		parquet.KeyValueMetadata("seed", fmt.Sprint(j.Card.Seed)), parquet.KeyValueMetadata("units", string(text)),
		parquet.KeyValueMetadata("configuration", string(config)),
		parquet.KeyValueMetadata("origin", "SYNTHETIC: made by a simulator, not measured on any engine"))
	return &parquetFile{file: f, schema: j.schema, out: w}, nil
}

func (e *parquetFile) row(r *Row) error {
	columns := e.out.ColumnWriters()
	for i, v := range r.Labels {
		var value parquet.Value
		switch k := e.schema.labels[i].Kind; {
		case k == Whole:
			value = parquet.Int64Value(int64(v)).Level(0, 0, i)
		case k == Flag:
			value = parquet.BooleanValue(v == 1).Level(0, 0, i)
		case math.IsNaN(v):
			value = parquet.NullValue().Level(0, 0, i)
		default:
			value = parquet.DoubleValue(v).Level(0, 1, i)
		}
		e.values = append(e.values[:0], value)
		if _, err := columns[i].WriteRowValues(e.values); err != nil {
			return e.file.named(err)
		}
		e.bytes += 8
	}
	for i, samples := range r.Channels {
		column := len(r.Labels) + i
		vs := e.values[:0]
		for k, v := range samples {
			vs = append(vs, parquet.FloatValue(v).Level(min(k, 1), 1, column))
		}
		if len(vs) == 0 {
			vs = append(vs, parquet.NullValue().Level(0, 0, column)) // an empty list
		}
		e.values = vs
		if _, err := columns[column].WriteRowValues(vs); err != nil {
			return e.file.named(err)
		}
		e.bytes += 4 * len(samples)
	}
	if e.bytes < rowGroup {
		return nil
	}
	e.bytes = 0
	return e.file.named(e.out.Flush())
}

func (e *parquetFile) close() error { return e.file.named(e.out.Close()) }
