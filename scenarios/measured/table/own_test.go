package table

import (
	"context"
	"iter"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"phasebench/scenarios/dataset"
)

// pump is a source of made-up rows, of count samples; 0: as many as the cycle says.
type pump struct{ count int }

func (p *pump) Columns() []dataset.Column {
	return []dataset.Column{
		{Name: "cycle", About: "number of the cycle", Kind: dataset.Whole},
		{Name: "speed_rpm", Unit: "rpm", About: "mean shaft speed"},
		{Name: "on", About: "running", Kind: dataset.Flag},
		{Name: "pressure_bar", Unit: "bar", About: "pressure", Kind: dataset.Samples, Count: p.count, Full: 64},
		{Name: "ion_ua", Unit: "uA", About: "current", Kind: dataset.Samples, Count: p.count, Full: 2},
	}
}

func (p *pump) Rows(first, last int) iter.Seq2[*dataset.Row, error] {
	return func(yield func(*dataset.Row, error) bool) {
		for n := first; n < last; n++ {
			rng := rand.New(rand.NewPCG(1, uint64(n)))
			count := p.count
			if count == 0 {
				count = 100 + n%7
			}
			r := &dataset.Row{Labels: []float64{float64(n), 2200 + rng.NormFloat64(), float64(n % 2)}, Channels: make([][]float32, 2)}
			for c := range r.Channels {
				for range count {
					r.Channels[c] = append(r.Channels[c], float32(rng.NormFloat64()))
				}
			}
			if !yield(r, nil) {
				return
			}
		}
	}
}

// What the tree writes is read back, bit for bit, and the same from every format.
func TestOwnFiles(t *testing.T) {
	for _, count := range []int{120, 0} {
		formats := []string{"csv", "parquet", "wav"}
		if count > 0 {
			formats = append(formats, "npz")
		}
		dir := filepath.Join(t.TempDir(), "set")
		require.NoError(t, dataset.Write(context.Background(), &dataset.Plan{Dir: dir, Formats: formats, Cycles: 11, Part: 100, Workers: 1, Rate: 48000,
			Source: func() (dataset.Source, error) { return &pump{count}, nil },
			Card:   dataset.Card{Title: "Pump set", Description: "Made up.", Tool: "phasebench", Version: "v0.0.0-test", Caution: "For tests.", Licence: "free"}}))
		want := make([][]float64, 6) // cycle, index, speed, on, pressure, ion
		for r, err := range (&pump{count}).Rows(0, 11) {
			require.NoError(t, err)
			for i := range r.Channels[0] {
				for c, v := range []float64{r.Labels[0], float64(i), r.Labels[1], r.Labels[2], float64(r.Channels[0][i]), float64(r.Channels[1][i])} {
					want[c] = append(want[c], v)
				}
			}
		}
		for _, name := range []string{"cycles-00000.parquet", "cycles-00000.npz"} {
			if count == 0 && filepath.Ext(name) == ".npz" {
				continue
			}
			tab, got := whole(t, filepath.Join(dir, name), nil)
			assert.Equal(t, []string{"cycle", "index", "speed_rpm", "on", "pressure_bar", "ion_ua"}, tab.Columns())
			assert.True(t, same(want, got), name)
			assert.Zero(t, tab.Flaws())
		}
		tab, got := whole(t, filepath.Join(dir, "cycles-00000.wav"), nil)
		assert.Equal(t, 48000., tab.Rate())
		for c, full := range []float64{64, 2} { // powers of two: exact
			for i := range got[c] {
				got[c][i] *= full
			}
		}
		assert.True(t, same(want[4:], got))
		if count > 0 {
			tab, got = whole(t, filepath.Join(dir, "samples-00000.csv"), nil)
			assert.Equal(t, []string{"cycle", "index", "pressure_bar", "ion_ua"}, tab.Columns())
			for _, c := range want[4:] { // the text is the shortest that is the same float32
				for i := range c {
					c[i] = float64(float32(c[i]))
				}
			}
			for _, c := range got[2:] {
				for i := range c {
					c[i] = float64(float32(c[i]))
				}
			}
			assert.True(t, same(append(want[:2:2], want[4:]...), got))
		}
	}
}
