package loop

import (
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// The target is 15 deg for pistons; for a rotor where its chamber has risen as much,
// 25.6 deg (chamber.SameRise), and files keep the window that is usual for it.
func TestUsualOfRotor(t *testing.T) {
	for name, want := range map[string]float64{"pump-set": 15, "small-196": 15, "rotary-set": 25.6} {
		e, err := model.Load(name)
		require.NoError(t, err)
		s := Usual(e)
		require.InDelta(t, want, s.Legs[0].Target/deg, 1e-12)
		require.NoError(t, s.Check())
		stretch := 1.
		if e.Rotary() {
			stretch = 1.5
		}
		require.InDelta(t, stretch*60, settings(&s.Sensing).To/deg, 1e-12) // of ion current
	}
}
