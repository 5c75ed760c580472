package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The window of 70 deg at 2000 rpm lasts 5.83 ms, 584 samples at 100 kHz, and the
// first mode is heard in it: 5 % covers the fall of the tone in the window.
func TestListen(t *testing.T) {
	e := pumpSet(t)
	c := knocking(t, 2400)
	v := take(t, e, Setup{Knock: UsualAccelerometer()}, c)["knock_v"]
	require.Len(t, v, 584)
	require.InEpsilon(t, 1.8412*math.Sqrt(1.25*burnedR*2400)/(math.Pi*0.088), loudest(v, 100e3, 2000), 0.05)
	c.KnockIntensity = 0
	most := 0.
	for _, x := range take(t, e, Setup{Knock: UsualAccelerometer()}, c)["knock_v"] {
		most = math.Max(most, math.Abs(x))
	}
	require.Less(t, most, 5*UsualAccelerometer().Noise) // noise alone: 584 draws beyond 5 sd are 1 in 3000
}

// A loose mount rings at its own frequency after the blow of a valve, which the
// engine file puts at 380 - 720 and -135 deg, and not before it. 100 Hz: the
// distance of lines is that.
func TestLooseMount(t *testing.T) {
	e := pumpSet(t)
	c := solved(t, e, partLoad)
	a := UsualAccelerometer()
	a.From, a.To, a.Noise = -180*deg, -60*deg, 0
	f, err := ParseFault("structure-resonance=5")
	require.NoError(t, err)
	v := take(t, e, Setup{Knock: a, Faults: []Fault{f}}, c)["knock_v"]
	hit := int((c.Clock.Time(-135*deg) - c.Clock.Time(-180*deg)) * a.Rate)
	for _, x := range v[:hit] {
		require.InDelta(t, 0, x, 1e-9)
	}
	most := 0.
	for _, x := range v[hit : hit+20] { // it comes at once
		most = math.Max(most, math.Abs(x))
	}
	require.Greater(t, most, 0.1*a.Valves)
	require.InDelta(t, 5000*math.Sqrt(1-looseDamping*looseDamping), loudest(v[hit:min(hit+400, len(v))], a.Rate, 1000), 100)
}

// A loose mount that a valve struck 25 deg, 1.9 ms, before the window opens still
// rings in it: by exp(-zeta*w*t) = 0.17 of a swing of about 0.8, when the blow
// itself has fallen to exp(-4.7) = 0.01. A third of that is asked for.
func TestHeardFromBefore(t *testing.T) {
	e := pumpSet(t)
	a := UsualAccelerometer()
	a.From, a.To, a.Noise, a.Valves = -110*deg, -60*deg, 0, 1
	a.Own, a.Damping = 5e3, looseDamping
	most := 0.
	for _, x := range take(t, e, Setup{Knock: a}, solved(t, e, partLoad))["knock_v"][:20] {
		most = math.Max(most, math.Abs(x))
	}
	t.Logf("%.3f V", most)
	require.Greater(t, most, 0.045)
}
