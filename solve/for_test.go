package solve

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"phasebench/model"
)

// A solver made For another engine runs as a new one does, to the last digit.
func TestFor(t *testing.T) {
	e, err := model.Load(model.Default)
	require.NoError(t, err)
	s, err := New(e, nil)
	require.NoError(t, err)
	var c Cycle
	require.NoError(t, s.Run(&e.Point, &c))
	other := *e
	other.Geometry.Ratio, other.Wall.Factor = 9.4, 0.7
	fresh, err := New(&other, nil)
	require.NoError(t, err)
	like, err := s.For(&other)
	require.NoError(t, err)
	var a, b Cycle
	require.NoError(t, fresh.Run(&other.Point, &a))
	require.NoError(t, like.Run(&other.Point, &b))
	assert.Equal(t, a.Indicators, b.Indicators)
	assert.NotEqual(t, c.Peak, a.Peak)
	other.Fuel = "methane"
	like, err = s.For(&other)
	require.NoError(t, err)
	fresh, err = New(&other, nil)
	require.NoError(t, err)
	require.NoError(t, fresh.Run(&other.Point, &a))
	require.NoError(t, like.Run(&other.Point, &b))
	assert.Equal(t, a.Indicators, b.Indicators)
	_, err = s.For(&model.Engine{})
	assert.Error(t, err)
}
