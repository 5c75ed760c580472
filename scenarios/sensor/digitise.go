package sensor

import "math"

// clip holds the samples x within low and high.
func clip(x []float64, low, high float64) {
	for i, v := range x {
		x[i] = max(low, min(high, v))
	}
}

// digitise is an ADC of 2^bits steps from low up to high, less one step: it
// replaces the samples x by the nearest level.
func digitise(x []float64, low, high float64, bits int) {
	levels := math.Exp2(float64(bits))
	q := (high - low) / levels
	for i, v := range x {
		n := math.Floor((v-low)/q + 0.5)
		x[i] = low + q*max(0, min(levels-1, n))
	}
}
