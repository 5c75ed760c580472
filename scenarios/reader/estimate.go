package reader

import (
	"math"
	"slices"
)

// median of sorted, one or more.
func median(sorted []float64) float64 {
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}

// exponential is the mean of x, in the order of cycles, under weights that fall
// by e in a quarter of them.
func exponential(x []float64) float64 {
	keep := math.Exp(-4 / float64(len(x)))
	sum, all := 0., 0.
	for _, v := range x {
		sum, all = keep*sum+v, keep*all+1
	}
	return sum / all
}

// leastScale and mostScale bound how far readings may scatter [rad]. Our own
// choice: LPP of an engine that runs varies by 1.5 to 7 deg (from memory).
const (
	leastScale = 1 * deg
	mostScale  = 7 * deg
)

// scale is the standard deviation that x would have if it were normal about its
// median m, by the median of the distances from it, leastScale to mostScale: less than
// half of x may be anything. It uses room of the length of x.
func scale(x []float64, m float64, room []float64) float64 {
	const normal = 1.4826 // deviation of a normal distribution over the median distance
	room = room[:0]
	for _, v := range x {
		room = append(room, math.Abs(v-m))
	}
	slices.Sort(room)
	return math.Max(leastScale, math.Min(mostScale, normal*median(room)))
}

// robust is the M-estimate of Tukey's biweight, ψ(u) = u·(1−(u/c)²)² within
// |u| < c and 0 beyond, of sorted about its median, u in units of its scale s, c =
// 4.685 (95 % efficient where all is normal; from memory).
func robust(sorted []float64, scale float64) float64 {
	const tuning = 4.685
	at, s := median(sorted), tuning*scale
	for range 50 {
		sum, all := 0., 0.
		for _, v := range sorted {
			if u := (v - at) / s; math.Abs(u) < 1 {
				w := (1 - u*u) * (1 - u*u)
				sum, all = sum+w*v, all+w
			}
		}
		if all == 0 { // none lies near: two crowds, apart
			return at
		}
		next := sum / all
		if math.Abs(next-at) < 1e-9 {
			return next
		}
		at = next
	}
	return at
}

// The density of readings is that of Gaussian kernels of this width [rad], looked
// at in steps; a top lower than leastTop of the highest is none. Our own choice: a
// lone reading far away is no mode, three of 32 that lie together are.
const (
	kernel   = 4 * deg
	stepping = 0.5 * deg
	leastTop = 0.05
)

// density of sorted at an angle, 1 for a reading there.
func density(sorted []float64, at float64) float64 {
	sum := 0.
	for _, v := range sorted {
		if z := (v - at) / kernel; math.Abs(z) < 5 {
			sum += math.Exp(-z * z / 2)
		}
	}
	return sum
}

// mode is where the density of sorted is greatest.
func mode(sorted []float64) float64 {
	best, most := sorted[0], 0.
	tops(sorted, func(at, height float64) {
		if height > most {
			best, most = at, height
		}
	})
	return best
}

// modes counts the tops of the density of sorted.
func modes(sorted []float64) int {
	most, count := 0., 0
	tops(sorted, func(_, height float64) { most = math.Max(most, height) })
	tops(sorted, func(_, height float64) {
		if height >= leastTop*most {
			count++
		}
	})
	return count
}

// tops calls top with every place where the density of sorted is greatest about,
// and how high it is there. A place lies on the parabola through three steps.
func tops(sorted []float64, top func(at, height float64)) {
	first := sorted[0] - stepping
	n := int((sorted[len(sorted)-1]-first)/stepping) + 2
	l, m := density(sorted, first-stepping), density(sorted, first)
	for i := range n {
		at := first + float64(i)*stepping
		r := density(sorted, at+stepping)
		if m > l && m >= r {
			top(at+stepping/2*(l-r)/(l-2*m+r), m)
		}
		l, m = m, r
	}
}
