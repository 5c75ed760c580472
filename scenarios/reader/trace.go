package reader

import (
	"math"
	"sort"

	"gonum.org/v1/gonum/stat"
)

// trace is the ion current of a cycle on the grid of the tracker.
type trace struct {
	first   int               // points from here on are looked at
	i       [gridSize]float64 // less what leaks [A]
	sure    [gridSize]float64 // 1/deviation of each, model's errors included [1/A]
	clipped [gridSize]bool    // the circuit gave no more
	most    float64           // greatest of i [A]
	noise   float64           // rms of a sample [A]
}

// How far samples are trusted. The spark lasts 1 to 2 ms, and the coil then rings
// 0.3 to 1 ms (common practice, no source): what may be left of it falls with
// ringTime from the level of the spark at sparkTime on, and a sample counts from
// some of the blanking on. The errors of the model are in shares of the sample and
// of the greatest; they hang together over some 10 deg. Tuned, see TestTracker.
const (
	ringTime   = 0.2e-3 // [s]
	sparkTime  = 1e-3   // [s]
	blankShare = 0.7
	shareError = 0.05
	floorError = 0.05
	flatTop    = 0.9 // of the greatest sample: neighbours as high that are equal are clipped
	leastGrid  = 40  // points
)

// lay fills t with in, blanked so long [s], quiet from an angle on [rad]. It
// returns false where too few points are left or none is above 0.
func (t *trace) lay(in *Input, blank, from float64) bool {
	var ground float64
	ground, t.noise = quiet(in, from)
	open := -in.Spark + blankShare*blank*in.Speed
	strike := 0.
	for i := sort.SearchFloat64s(in.Theta, -in.Spark); i < len(in.Theta) && in.Theta[i] < open; i++ {
		strike = math.Max(strike, math.Abs(in.Values[i]-ground))
	}
	last := len(in.Theta) - 1
	t.first = max(0, int(math.Ceil((math.Max(open, in.Theta[0])-gridFrom)/gridPace)))
	if t.first > gridSize-leastGrid || gridAt(gridSize-1) > in.Theta[last] {
		return false
	}
	t.most = 0
	at := sort.SearchFloat64s(in.Theta, gridAt(t.first))
	for k := t.first; k < gridSize; k++ {
		var count int
		t.i[k], count, at = sampled(in, gridAt(k), at)
		t.i[k] -= ground
		t.most = math.Max(t.most, t.i[k])
		ring := strike * math.Exp(-((gridAt(k)+in.Spark)/in.Speed-sparkTime)/ringTime)
		share := shareError * t.i[k]
		t.sure[k] = t.noise*t.noise/float64(count) + ring*ring + share*share
	}
	if !(t.most > 0) {
		return false
	}
	floor := floorError * t.most
	for k := t.first; k < gridSize; k++ {
		t.sure[k] = 1 / math.Sqrt(t.sure[k]+floor*floor)
		flat := k > t.first && t.alike(k, k-1) || k+1 < gridSize && t.alike(k, k+1)
		t.clipped[k] = flat && t.i[k] >= flatTop*t.most
	}
	return true
}

// alike tells whether two points are the same but for rounding, which noise never is.
func (t *trace) alike(a, b int) bool { return math.Abs(t.i[a]-t.i[b]) <= 1e-9*t.most }

// sampled returns the mean of the samples half a pace of the grid about theta, and
// how many they are; with fewer than two, what lies between the neighbours. Sample
// hint is not far after theta; so is that returned from the next theta.
func sampled(in *Input, theta float64, hint int) (v float64, count, next int) {
	for hint < len(in.Theta)-1 && in.Theta[hint] < theta {
		hint++
	}
	lo, hi := hint, hint
	for lo > 0 && in.Theta[lo-1] >= theta-gridPace/2 {
		lo--
	}
	for hi < len(in.Theta) && in.Theta[hi] < theta+gridPace/2 {
		hi++
	}
	if hi-lo >= 2 {
		return stat.Mean(in.Values[lo:hi], nil), hi - lo, hint
	}
	if hint == 0 {
		return in.Values[0], 1, hint
	}
	u := (theta - in.Theta[hint-1]) / (in.Theta[hint] - in.Theta[hint-1])
	return in.Values[hint-1] + u*(in.Values[hint]-in.Values[hint-1]), 1, hint
}
