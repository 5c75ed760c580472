package reader

// chord reads the middle of the chord that cuts the filtered samples p(θ) at a share
// s of their greatest height above the base, which is the mean of the samples of the
// exhaust stroke:
//
//	p(θ₁) = p(θ₂) = base + s·(top − base),  θ = (θ₁ + θ₂)/2 [rad]
//
// Between samples p is a straight line. It is the first step of the bisected chords by
// which N. R. Pogson timed the least light of variable stars (from memory).
//
// The top of a symmetric peak is read exactly but for the straight lines: of samples
// Δθ apart on a parabola it is off by up to Δθ²/(8·(θ₂ − θ₁)). Of any other peak it is
// drawn to the flatter side, from the top of 1 − a·x² + b·x³ by b·d/(2a²) to first
// order in d = 1 − s: a higher chord is off by less, and scatters more under noise. The
// pressure near MBT is read 0.2 to 0.3 deg late at the usual share (TestChordBias).
//
// It declines where there is no peak, where the chord ends outside the window, and
// where the samples cross it more than twice.
type chord struct{ window window }

func newChord(b *base) (Reader, error) { return &chord{b.window}, nil }

// Reset implements Reader.
func (*chord) Reset() {}

// Reasons to decline that only chord has.
const (
	whyCut  = "the chord ends outside the window"
	whyCuts = "the chord is crossed more than twice"
)

// Read implements Reader.
func (c *chord) Read(in *Input) Reading {
	w := &c.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	w.filter(in)
	x, k := w.smooth, w.top(w.smooth)
	if why := w.peak(x, k); why != "" {
		return decline(why)
	}
	level := w.base + w.set.Share*(x[k]-w.base)
	switch {
	case !(level < x[k]):
		return decline(whyFlat)
	case x[w.lo] >= level || x[w.hi-1] >= level:
		return decline(whyCut)
	}
	crossings, ends := 0, 0. // ends: sum of the angles of both
	for i := w.lo + 1; i < w.hi; i++ {
		before, after := x[i-1]-level, x[i]-level
		if (before >= 0) != (after >= 0) {
			crossings++
			ends += in.Theta[i-1] + (in.Theta[i]-in.Theta[i-1])*before/(before-after)
		}
	}
	if crossings > 2 {
		return decline(whyCuts)
	}
	return Reading{Angle: ends / 2, Quality: w.quality(x, k), Humps: w.humps(x)}
}
