package ideal

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
)

// Field is one number of a result as users see it: its key carries the unit.
// A value that does not exist is NaN; JSON has null for it.
type Field struct {
	Key   string
	Value float64
}

// Table lists temperature and pressure of every state, then the results.
func (c *Cycle) Table() []Field {
	var t []Field
	for i, s := range c.States {
		t = append(t, Field{fmt.Sprintf("t%d_k", i+1), s.T}, Field{fmt.Sprintf("p%d_bar", i+1), s.P / bar})
	}
	return append(t, Field{"work_kj_kg", c.Work / kJ}, Field{"efficiency", c.Efficiency}, Field{"mep_bar", c.MEP / bar})
}

// MarshalJSON writes Table as an object.
func (c *Cycle) MarshalJSON() ([]byte, error) { return marshal(c.Table()) }

// Table lists the results.
func (r *Release) Table() []Field {
	return []Field{
		{"pmax_over_p1", r.Peak}, {"lpp_deg_atdc", r.LPP / deg}, {"work_over_p1v1", r.Work},
		{"efficiency", r.Efficiency}, {"efficiency_over_otto", r.OverOtto},
	}
}

// MarshalJSON writes Table as an object.
func (r *Release) MarshalJSON() ([]byte, error) { return marshal(r.Table()) }

func marshal(t []Field) ([]byte, error) {
	var b bytes.Buffer
	b.WriteByte('{')
	for i, f := range t {
		if i > 0 {
			b.WriteByte(',')
		}
		var v any // null
		if !math.IsNaN(f.Value) {
			v = f.Value
		}
		text, err := json.Marshal(v)
		if err != nil {
			return nil, fmt.Errorf("ideal: %s: %w", f.Key, err)
		}
		fmt.Fprintf(&b, "%q:%s", f.Key, text)
	}
	b.WriteByte('}')
	return b.Bytes(), nil
}
