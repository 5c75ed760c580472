package reader

import (
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// Window and filter are those of a piston times 1.5, and of every piston as they are.
func TestUsualForRotor(t *testing.T) {
	for _, s := range []Signal{Pressure, Ion} {
		usual := Usual(s)
		for _, name := range model.Names() {
			e, err := model.Load(name)
			require.NoError(t, err)
			want := *usual
			if e.Rotary() {
				want.From, want.To, want.Smooth = 1.5*usual.From, 1.5*usual.To, 1.5*usual.Smooth
			}
			got := UsualFor(s, e)
			require.InDelta(t, want.From, got.From, 1e-15)
			require.InDelta(t, want.To, got.To, 1e-15)
			require.InDelta(t, want.Smooth, got.Smooth, 1e-15)
			require.Equal(t, want.Blank, got.Blank)
			require.NoError(t, got.Check())
		}
	}
}
