package sensor

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Against math.Exp and math.Expm1, by the tolerances that the docs state and rounding; near 0.01
// the difference of 1 and e costs two digits.
func TestDecay(t *testing.T) {
	var d decay
	for z := 1e-15; z < 30; z *= 1.003 {
		for _, x := range []float64{z, z * 0.99, z + 0.015, z} {
			e := d.at(x)
			require.InEpsilon(t, math.Exp(-x), e, 3e-14)
			require.InEpsilon(t, -math.Expm1(-x)/x, mean(x, e), 4e-12)
		}
	}
}
