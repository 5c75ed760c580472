package dataset

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// writeHeader writes a C99 header: 16-bit samples with the step of each channel in
// its unit, and labels. A sample is off by half a step at most; INT16_MIN is none.
func writeHeader(j *job, f *file) error {
	h := j.held
	id := fmt.Sprintf("cycles_%05d", j.part)
	c := &cText{file: f}
	c.line("/* SYNTHETIC data: made by a simulator, not measured on any engine.")
	c.line(" *")
	c.line(" * %s", plainC(j.Card.Title))
	c.line(" * Made by %s %s, seed %d.", plainC(j.Card.Tool), plainC(j.Card.Version), j.Card.Seed)
	c.line(" * A sample in its unit is the number here times the scale of its channel.")
	c.line(" * INT16_MIN: no sample. NAN: the cycle has none. */")
	c.line("#ifndef %s_H", strings.ToUpper(id))
	c.line("#define %s_H", strings.ToUpper(id))
	c.line("#include <math.h>")
	c.line("#include <stdint.h>")
	c.line("")
	c.line("#define %s_COUNT %d", strings.ToUpper(id), h.cycles)
	for i, l := range h.schema.labels {
		kind := [...]string{"float", "int64_t", "uint8_t"}[l.Kind]
		c.line("")
		c.about(&l, "")
		c.line("static const %s %s_%s[%d] = {", kind, id, l.Name, h.cycles)
		for k, v := range h.labels[i] {
			switch l.Kind {
			case Number:
				c.text = appendFloatC(c.text, float32(v))
			default:
				c.text = strconv.AppendInt(c.text, int64(v), 10)
				if l.Kind == Whole && math.Abs(v) > math.MaxInt16 {
					c.text = append(c.text, "LL"...)
				}
			}
			c.next(k)
		}
		c.line("};")
	}
	for i, ch := range h.schema.channels {
		name, samples := id+"_"+ch.Name, h.samples[i]
		step := stepOf(samples)
		c.line("")
		c.line("/* a step of %s [%s] */", ch.Name, plainC(unitOf(&ch)))
		c.line("static const float %s_scale = %s;", name, appendFloatC(nil, step))
		c.about(&ch, ", in steps")
		if ch.Count > 0 {
			c.line("static const int16_t %s[%d][%d] = {", name, h.cycles, ch.Count)
		} else {
			c.line("static const int16_t %s[%d] = {", name, max(len(samples), 1))
		}
		for k, v := range samples {
			if ch.Count > 0 && k%ch.Count == 0 {
				c.text = append(c.text, '{')
			}
			c.text = strconv.AppendInt(c.text, int64(stepsC(v, step)), 10)
			if ch.Count > 0 && k%ch.Count == ch.Count-1 {
				c.text = append(c.text, '}')
			}
			c.next(k)
		}
		if len(samples) == 0 {
			c.text = append(c.text, '0') // C has no empty array
		}
		c.line("};")
		if ch.Count > 0 {
			continue
		}
		c.line("/* cycle k of %s is from [k] up to but without [k + 1] */", ch.Name)
		c.line("static const uint32_t %s_offsets[%d] = {", name, h.cycles+1)
		for k, v := range h.offsets[i] {
			if v > math.MaxUint32 {
				return tooLarge(f)
			}
			c.text = strconv.AppendInt(c.text, v, 10)
			c.next(k)
		}
		c.line("};")
	}
	c.line("")
	c.line("#endif")
	return c.err
}

// plainC keeps text from ending a comment.
func plainC(s string) string {
	return strings.NewReplacer("*/", "* /", "/*", "/ *", "\n", " ", "\r", " ").Replace(s)
}

func unitOf(c *Column) string {
	if c.Unit == "" {
		return "1"
	}
	return c.Unit
}

// stepOf is the least float32 in which all finite samples fit ±32767 steps; 1 for
// nothing but zeros.
func stepOf(samples []float32) float32 {
	most := 0.
	for _, v := range samples {
		if a := math.Abs(float64(v)); a > most && !math.IsInf(a, 0) {
			most = a
		}
	}
	if most == 0 {
		return 1
	}
	step := float32(most / math.MaxInt16)
	if float64(step)*math.MaxInt16 < most {
		step = math.Nextafter32(step, math.MaxFloat32)
	}
	return step
}

// stepsC is v in steps; what is infinite is full scale.
func stepsC(v, step float32) int16 {
	if v != v {
		return math.MinInt16
	}
	return int16(max(-math.MaxInt16, min(math.MaxInt16, math.Round(float64(v)/float64(step)))))
}

// appendFloatC writes a float constant of C99.
func appendFloatC(b []byte, v float32) []byte {
	switch w := float64(v); {
	case math.IsNaN(w):
		return append(b, "NAN"...)
	case math.IsInf(w, -1):
		return append(b, "-INFINITY"...)
	case math.IsInf(w, 1):
		return append(b, "INFINITY"...)
	}
	n := len(b)
	b = strconv.AppendFloat(b, float64(v), 'g', -1, 32)
	if !strings.ContainsAny(string(b[n:]), ".e") {
		b = append(b, ".0"...)
	}
	return append(b, 'f')
}

// cText writes lines and keeps the first error.
type cText struct {
	file *file
	text []byte // of the line
	err  error
}

func (c *cText) line(format string, args ...any) {
	if len(c.text) > 0 {
		c.text = append(c.text, '\n')
	}
	c.text = append(fmt.Appendf(c.text, format, args...), '\n')
	c.flush()
}

// next ends the kth number of a list.
func (c *cText) next(k int) {
	c.text = append(c.text, ',')
	if k%16 == 15 {
		c.text = append(c.text, '\n')
		c.flush()
	}
}

func (c *cText) flush() {
	if c.err == nil {
		_, c.err = c.file.Write(c.text)
	}
	c.text = c.text[:0]
}

// about is the comment of a column.
func (c *cText) about(col *Column, more string) {
	c.line("/* %s [%s]%s */", plainC(col.About), plainC(unitOf(col)), more)
}
