package sensor

import (
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// Every fault that is told of while it comes, and of its end as it goes, does what it
// does told of beforehand, in every channel and to the last bit: filters, draws and the
// age of another, a drift, go on.
func TestSetFaults(t *testing.T) {
	for _, rate := range []float64{0, 50e3} {
		e, set := complete(t)
		set.Sampling.RateHz = rate
		c := knocking(t, 0)
		c.Operating.Split = 10 * deg
		drift := Fault{"drift", 1, -1, 100}
		for _, k := range Kinds() {
			f := Fault{k.Name, 2, 4, k.Typical}
			set.Faults = []Fault{drift, f}
			_, want, _ := history(t, e, set, c)
			set.Faults = nil
			r, err := New(e, set, 11)
			require.NoError(t, err)
			for n := range want {
				open := f
				open.To = -1
				switch n {
				case 1:
					require.NoError(t, r.SetFaults([]Fault{drift}))
				case 2:
					require.NoError(t, r.SetFaults([]Fault{drift, open}))
				case 4:
					require.NoError(t, r.SetFaults([]Fault{drift, f}))
				}
				c.Number = n
				var rec Record
				require.NoError(t, r.Take(c, &rec))
				require.Equal(t, want[n], named(r, &rec), "%s, cycle %d", k.Name, n)
			}
		}
	}
}

// A list that is refused changes nothing, and that of the caller stays the caller's.
func TestSetFaultsRefuses(t *testing.T) {
	e, set := complete(t)
	set.Cam = false
	c := knocking(t, 0)
	r, err := New(e, set, 11)
	require.NoError(t, err)
	all := []Fault{{"dead-ion", 0, -1, 1}}
	require.NoError(t, r.SetFaults(all))
	all[0].To = 1
	for _, f := range []Fault{{"nois", 0, -1, 1}, {"noise", 0, -1, 99}, {"noise", 3, 3, 1}, {"dead-cam", 0, -1, 1}} {
		var p *model.Problem
		require.ErrorAs(t, r.SetFaults([]Fault{f}), &p, f.Name)
		require.Equal(t, "fault", p.Key)
	}
	c.Number = 7
	var rec Record
	require.NoError(t, r.Take(c, &rec))
	require.Equal(t, []float64{1}, rec.Severity)
	require.Zero(t, rec.Values[1][len(rec.Values[1])/2])
}
