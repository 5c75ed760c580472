package dataset

import (
	"context"
	"iter"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// fake is a source of our own: an irrigation pump set of pure arithmetic. Every
// number follows from the number of the cycle.
type fake struct {
	count int
	row   Row
	fail  int // the cycle at which it fails, if > 0
	mine  rand.PCG
}

const (
	pressure = iota
	ion
	knock
	teeth
)

func (f *fake) Columns() []Column {
	return []Column{
		{Name: "cycle", About: "number of the cycle", Kind: Whole},
		{Name: "speed_rpm", Unit: "rpm", About: "mean shaft speed"},
		{Name: "lpp_deg_atdc", Unit: "deg", About: "location of peak pressure /* none | of a misfire */"},
		{Name: "misfire", About: "nothing burned", Kind: Flag},
		{Name: "draw", About: "a large whole number of either sign", Kind: Whole},
		{Name: "pressure_bar", Unit: "bar", About: "chamber pressure", Kind: Samples, Count: f.count, Full: 64},
		{Name: "ion_ua", Unit: "uA", About: "current of the plug", Kind: Samples, Count: f.count},
		{Name: "knock_v", Unit: "V", About: "block vibration in its window", Kind: Samples},
		{Name: "tooth_s", Unit: "s", About: "times of teeth", Kind: Samples, Uneven: true},
	}
}

func (f *fake) Rows(first, last int) iter.Seq2[*Row, error] {
	return func(yield func(*Row, error) bool) {
		for n := first; n < last; n++ {
			if f.fail > 0 && n >= f.fail {
				yield(nil, errFake)
				return
			}
			f.fill(n)
			if !yield(&f.row, nil) {
				return
			}
		}
	}
}

func (f *fake) fill(n int) {
	f.mine.Seed(1, uint64(n))
	rng := rand.New(&f.mine)
	r := &f.row
	lpp, flag := 14+3*rng.NormFloat64(), 0.
	if n%7 == 3 {
		lpp, flag = math.NaN(), 1
	}
	r.Labels = append(r.Labels[:0], float64(n), 2200+rng.NormFloat64(), lpp, flag, float64(rng.IntN(1<<50)-1<<49))
	if r.Channels == nil {
		r.Channels = make([][]float32, 4)
	}
	for i, count := range []int{f.count, f.count, (n * 5) % 23, n % 4} {
		c := r.Channels[i][:0]
		for range count {
			c = append(c, float32(rng.NormFloat64()))
		}
		r.Channels[i] = c
	}
}

// plan writes small parts of everything.
func plan(t testing.TB, formats ...string) *Plan {
	if len(formats) == 0 {
		formats = Formats()
	}
	return &Plan{Dir: filepath.Join(t.TempDir(), "set"), Formats: formats, Cycles: 47, Part: 10, Workers: 1, Rate: 48000,
		Source: func() (Source, error) { return &fake{count: 24}, nil },
		Card: Card{Title: "Pump set, 499 cc single", Description: "An irrigation pump set that was never built.", Tool: "phasebench",
			Version: "v0.0.0-test", Seed: 1<<63 + 1, Config: []Setting{{"speed_rpm", "2200"}, {"fuel", "iso-octane"}},
			Caution: "Arithmetic, for tests only.", Licence: "synthetic data, free for all uses"}}
}

func write(t testing.TB, p *Plan) {
	t.Helper()
	require.NoError(t, Write(context.Background(), p))
}

// contents is every file in dir by name, hidden ones too.
func contents(t testing.TB, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	inside, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range inside {
		b, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		all[e.Name()] = string(b)
	}
	return all
}

// same fails unless both folders hold the same bytes.
func same(t testing.TB, want, got map[string]string) {
	t.Helper()
	for name := range got {
		require.Contains(t, want, name)
	}
	for name, text := range want {
		require.Contains(t, got, name)
		require.True(t, text == got[name], "%s differs", name)
	}
}
