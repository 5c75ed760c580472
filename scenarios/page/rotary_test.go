package page

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate"

	"phasebench/model"
	"phasebench/solve"
)

// A rotor compresses over 270 degrees: the work of the samples from there to dead
// centre, by Simpson's rule, 1e-3 of it; and what is said is of a shaft.
func TestEnergyOfRotor(t *testing.T) {
	e, err := model.Load("rotary-set")
	require.NoError(t, err)
	s, err := solve.New(e, nil)
	require.NoError(t, err)
	var c solve.Cycle
	require.NoError(t, s.Run(&e.Point, &c))
	var theta, power []float64
	for i, at := range c.Theta {
		if at > -1.5*math.Pi-1e-9 && at < 1e-9 {
			_, dv := s.Chamber().Volume(at)
			theta, power = append(theta, at), append(power, c.Pressure[i]*dv)
		}
	}
	split := splitOf(&c, s.Chamber().Swept())
	require.InEpsilon(t, integrate.Simpsons(theta, power), split.compression, 1e-3)
	require.InEpsilon(t, c.IMEPGross*s.Chamber().Swept(), split.compression+split.expansion, 1e-12)
	require.Contains(t, why(&c, &split)[0], "back from the shaft")

	at := "http://" + serve(t)
	code, _, text := ask(t, "GET", at+"/api/cycle?engine=rotary-set&compression_ratio=9.5", "", nil)
	require.Equal(t, 200, code, text)
}
