package dataset

import (
	"math"
	"strconv"
)

// CSV as RFC 4180 has it: comma, CRLF, a header. No field needs quotes, since
// names are plain and the rest are numbers. An empty field is none.

// appendLabel writes a label; NaN is nothing.
func appendLabel(b []byte, k Kind, v float64) []byte {
	switch {
	case k == Flag:
		return strconv.AppendBool(b, v == 1)
	case k == Whole:
		return strconv.AppendInt(b, int64(v), 10)
	case math.IsNaN(v):
		return b
	case math.IsInf(v, 0):
		return appendInf(b, v > 0)
	}
	return strconv.AppendFloat(b, v, 'g', -1, 64)
}

// appendInf writes an infinity as XML Schema and Data Package do.
func appendInf(b []byte, above bool) []byte {
	if !above {
		b = append(b, '-')
	}
	return append(b, "INF"...)
}

// appendSample writes the shortest text that reads back as the same float32.
func appendSample(b []byte, v float32) []byte {
	w := float64(v)
	switch {
	case math.IsNaN(w):
		return b
	case math.IsInf(w, 0):
		return appendInf(b, w > 0)
	}
	return strconv.AppendFloat(b, w, 'g', -1, 32)
}

// writeNames writes the header of a CSV file.
func writeNames(f *file, fields []Column) error {
	var b []byte
	for i := range fields {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, fields[i].Name...)
	}
	_, err := f.Write(append(b, "\r\n"...))
	return err
}

// labelsOutput has one line a cycle; beside WAV files it tells where the cycle
// begins in each.
func labelsOutput(s *schema, waves []wave) output {
	fields := append([]Column(nil), s.labels...)
	for i := range waves {
		fields = append(fields, Column{Name: waves[i].column, Kind: Whole,
			About: "first sample of the cycle in " + waves[i].stem + ", counted from 0 in its part"})
	}
	return output{stem: "labels", extension: "csv", format: "csv", media: "text/csv", about: "labels, a line a cycle", fields: fields,
		open: func(_ *job, f *file) (encoder, error) {
			return &labelsCSV{file: f, schema: s, waves: waves, first: make([]int64, len(waves))}, writeNames(f, fields)
		}}
}

type labelsCSV struct {
	file   *file
	schema *schema
	waves  []wave
	first  []int64 // sample of the next cycle in each
	line   []byte
}

func (e *labelsCSV) row(r *Row) error {
	b := e.line[:0]
	for i, v := range r.Labels {
		if i > 0 {
			b = append(b, ',')
		}
		b = appendLabel(b, e.schema.labels[i].Kind, v)
	}
	for i := range e.waves {
		b = strconv.AppendInt(append(b, ','), e.first[i], 10)
		e.first[i] += int64(len(r.Channels[e.waves[i].channels[0]]))
	}
	e.line = append(b, "\r\n"...)
	_, err := e.file.Write(e.line)
	return err
}

func (e *labelsCSV) close() error { return nil }

// seriesOutputs are the samples: channels of the first fixed count side by side,
// every other channel in a file of its own.
func seriesOutputs(s *schema) (all []output) {
	keys := []Column{
		{Name: "cycle", Kind: Whole, About: s.labels[0].About},
		{Name: "index", Kind: Whole, About: "of the sample in its cycle, from 0"},
	}
	series := func(stem, about string, channels []int, fields ...Column) {
		fields = append(keys[:2:2], fields...)
		all = append(all, output{stem: stem, extension: "csv", format: "csv", media: "text/csv", about: about, fields: fields,
			open: func(_ *job, f *file) (encoder, error) {
				return &seriesCSV{file: f, channels: channels}, writeNames(f, fields)
			}})
	}
	var beside []int
	var names []Column
	for i, c := range s.channels {
		if c.Count > 0 && (len(beside) == 0 || c.Count == names[0].Count) {
			beside, names = append(beside, i), append(names, c)
		}
	}
	if len(beside) > 0 {
		series("samples", "channels of equal count, a line a sample", beside, names...)
	}
	for i, c := range s.channels {
		if c.Count == 0 || c.Count != names[0].Count {
			stem := c.Name
			c.Name = "value"
			series(stem, stem+", a line a sample", []int{i}, c)
		}
	}
	return all
}

type seriesCSV struct {
	file     *file
	channels []int
	lines    []byte
}

func (e *seriesCSV) row(r *Row) error {
	b := e.lines[:0]
	for k := range r.Channels[e.channels[0]] {
		b = strconv.AppendInt(b, int64(r.Labels[0]), 10)
		b = strconv.AppendInt(append(b, ','), int64(k), 10)
		for _, c := range e.channels {
			b = appendSample(append(b, ','), r.Channels[c][k])
		}
		b = append(b, "\r\n"...)
	}
	e.lines = b
	_, err := e.file.Write(b)
	return err
}

func (e *seriesCSV) close() error { return nil }
