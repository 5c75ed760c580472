package reader

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// pressed is a cycle whose pressure is that of c at every degree it knows, motored
// before, and gone after.
func pressed(c *charge, t testing.TB, spark float64) *Input {
	ch, err := pumpSet(t).Chamber()
	require.NoError(t, err)
	least, _ := ch.Volume(0)
	in := &Input{Theta: circle(720), Spark: spark, Speed: 200, MAP: 80e3}
	for _, theta := range in.Theta {
		v, _ := ch.Volume(theta)
		p := math.Pow(v/least, -burnExponent)
		if k := int(math.Round((theta - gridFrom) / gridPace)); k >= 0 && k < gridSize {
			p = c.p[k]
		}
		in.Values = append(in.Values, 15e5*p)
	}
	return in
}

// A compression that is a polytrope is taken away whole, and nothing is left: the
// readers that look for combustion decline, where a plain maximum reads dead centre.
func TestMotored(t *testing.T) {
	c, err := newCharge(pumpSet(t))
	require.NoError(t, err)
	c.burn(200*deg, 10*deg) // not in this cycle
	in := pressed(c, t, 20*deg)
	set := Usual(Pressure)
	set.Exponent = burnExponent
	ch, err := pumpSet(t).Chamber()
	require.NoError(t, err)
	m := motored{chamber: ch, exponent: burnExponent}
	require.InEpsilon(t, 15e5, m.lay(in), 1e-12)
	for i, v := range in.Values {
		require.InDelta(t, v, 15e5*m.work[i], 1e-3)
	}
	require.InDelta(t, 0, made(t, "maximum", Pressure, set).Read(in).Angle, 1e-12)
	for _, name := range []string{"mirror", "ca50"} {
		require.Equal(t, "no combustion above the compression", made(t, name, Pressure, set).Read(in).Why, name)
	}
}

// Of a pressure that the first law made of a burn with one exponent, the heat
// release gives the burn back, and so its peak: within 0.1 deg, of samples 1 deg
// apart, without a filter. The mirror reads it within half a sample.
func TestHeatRelease(t *testing.T) {
	c, err := newCharge(pumpSet(t))
	require.NoError(t, err)
	set := Usual(Pressure)
	set.Exponent, set.Smooth = burnExponent, 1*deg // a filter of one sample
	for _, ca10 := range []float64{-20, -8, 2, 12} {
		_, want := c.burn(ca10*deg, 12*deg)
		in := pressed(c, t, (18-ca10)*deg)
		got := made(t, "ca50", Pressure, set).Read(in)
		require.Empty(t, got.Why)
		require.InDelta(t, want/deg, got.Angle/deg, 0.1, "%g", ca10)
		got = made(t, "mirror", Pressure, set).Read(in)
		require.Empty(t, got.Why)
		require.InDelta(t, want/deg, got.Angle/deg, 0.5, "%g", ca10)
	}
}
