package sensor

import (
	"math/rand/v2"

	"phasebench/scenarios/stream"
)

// random makes draws that are a function of seed, cycle number and purpose, as
// stream.Rand does, without allocating in every cycle.
type random struct {
	key  [stream.Listening + 1]uint64
	pcg  *rand.PCG
	rand *rand.Rand
}

func newRandom(seed uint64) random {
	var r random
	for p := stream.Pressing; p <= stream.Listening; p++ {
		r.key[p] = stream.Rand(seed, 0, p).Uint64()
	}
	r.pcg = rand.NewPCG(0, 0)
	r.rand = rand.New(r.pcg)
	return r
}

// of returns the generator of cycle n for p; it is good until the next call.
func (r *random) of(n int, p stream.Purpose) *rand.Rand {
	k := r.key[p]
	r.pcg.Seed(spread(k^uint64(n)), spread(uint64(n)-k))
	return r.rand
}

// spread is the finaliser of SplitMix64 (Steele, Lea and Flood, OOPSLA 2014):
// generators of neighbouring cycles would start alike.
func spread(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}
