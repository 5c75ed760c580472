package stream

import "math/rand/v2"

// Purpose tells what a random draw is for. Draws for one purpose do not depend
// on how many others are made.
type Purpose uint64

// The purposes of draws. Their numbers are part of what a seed means: a new
// purpose goes to the end.
const (
	Burning   Purpose = iota + 1 // how the cycle burns
	Knocking                     // how hard it knocks
	Turning                      // how the crank turns
	Drifting                     // slow drifts
	Pressing                     // pressure transducer
	Ionizing                     // leading plug as a sensor
	Trailing                     // trailing plug as a sensor
	Toothing                     // tooth wheel
	Listening                    // knock sensor
	Metering                     // dynamometer and air meter
)

// Rand returns the generator of draws for purpose in cycle number n of the
// stream of seed. It is the same whoever asks, and in whatever order.
func Rand(seed uint64, n int, p Purpose) *rand.Rand {
	return rand.New(rand.NewPCG(mix(seed^mix(uint64(p))), mix(uint64(n)+0x9e3779b97f4a7c15*uint64(p))))
}

// mix spreads the bits of x, by the finaliser of SplitMix64 (Steele, Lea and
// Flood, OOPSLA 2014): generators of neighbouring numbers would start alike.
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
