package measured

import (
	"context"
	"io"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/scenarios/measured/table"
)

// bytes is a table of two columns, a byte a cell.
type bytesTable struct {
	names []string
	b     []byte
	row   int64
}

func (t *bytesTable) Columns() []string      { return t.names }
func (t *bytesTable) Named() bool            { return true }
func (t *bytesTable) Rate() float64          { return 1000 }
func (t *bytesTable) Row() int64             { return t.row }
func (t *bytesTable) Place(int64) string     { return "bytes" }
func (t *bytesTable) Flaws() (f table.Flaws) { return f }
func (t *bytesTable) Close() error           { return nil }

func (t *bytesTable) Read(dst [][]float64) (int, error) {
	n := 0
	for n < len(dst[0]) && len(t.b) >= 2 {
		for c := range dst {
			if dst[c][n] = float64(int8(t.b[c])); t.b[c] == 0x80 {
				dst[c][n] = math.NaN()
			}
		}
		t.b = t.b[2:]
		n++
	}
	t.row += int64(n)
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

// Whatever the signals, every cycle is whole numbers on a whole grid or broken with a
// reason, counted once; nothing panics or goes on for ever.
func FuzzRecording(f *testing.F) {
	var good []byte
	for i := range 4000 {
		theta := float64(i%200)*3.6 - 360
		tooth := byte(0)
		if i%5 == 0 && i%100 < 90 {
			tooth = 100
		}
		good = append(good, byte(int8(100*math.Exp(-theta*theta/800))), tooth)
	}
	for kind := range byte(4) {
		f.Add(kind, good)
	}
	c := pump(f)
	f.Fuzz(func(t *testing.T, kind byte, b []byte) {
		if len(b) > 1<<17 {
			return
		}
		names := [][]string{{"pressure_bar", "wheel"}, {"pressure_bar", "theta_deg"}, {"pressure_bar", "index"}, {"pressure_bar", "tdc"}}[kind%4]
		s := &Settings{Level: math.NaN(), Wheel: Wheel{Teeth: 20, Missing: 2, First: math.NaN()}, Chamber: c, Samples: 180}
		if kind&4 != 0 {
			s.Wheel.First = 0.3
		}
		r, err := New(&bytesTable{names: names, b: b}, s)
		if err != nil {
			return
		}
		next := 0
		for c, err := range r.Cycles(context.Background()) {
			if err != nil {
				break
			}
			require.Equal(t, next, c.Number)
			next++
			if c.Broken != "" {
				continue
			}
			require.Len(t, c.Pressure, 180)
			for _, p := range c.Pressure {
				require.False(t, math.IsNaN(p) || math.IsInf(p, 0))
			}
		}
		report := r.Report()
		require.Equal(t, next, report.Cycles+report.Lost)
	})
}
