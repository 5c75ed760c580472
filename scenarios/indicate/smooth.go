package indicate

import "math"

// lowPass filters x with no shift in angle: forward and backward through a first-order
// section twice each, so that the whole falls to half at cutoff [1/rad]; step [rad]
// between samples. The row is a period: it goes on where it begins.
//
// Four passes of y += a·(x−y) have |H|⁴ at a frequency f of (1+(2πf·τ)²)⁻², which is 1/2
// where 2πf·τ = √(√2−1). Its numbers are derived, not published.
func lowPass(x, work []float64, cutoff, step float64) {
	if !(cutoff > 0) {
		return
	}
	tau := math.Sqrt(math.Sqrt2-1) / (2 * math.Pi * cutoff)
	a := 1 - math.Exp(-step/tau)
	n := len(x)
	for range 2 {
		for _, way := range []int{1, -1} {
			y := x[0]
			for k := range 2 * n { // once round to come to life
				i := k % n
				if way < 0 {
					i = n - 1 - i
				}
				y += a * (x[i] - y)
				if k >= n {
					work[i] = y
				}
			}
			copy(x, work[:n])
		}
	}
}

// noise is the rms of what is white in x: second differences of a smooth row are 0, of
// white noise √6 times its rms.
func noise(x []float64) float64 {
	sum := 0.
	for i := 1; i+1 < len(x); i++ {
		d := x[i-1] - 2*x[i] + x[i+1]
		sum += d * d
	}
	return math.Sqrt(sum / float64(len(x)-2) / 6)
}
