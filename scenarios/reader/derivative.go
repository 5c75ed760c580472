package reader

// derivative reads where the derivative of the filtered samples crosses zero from
// above, between samples; of several crossings the one at the highest sample. It
// declines where none crosses, and where the highest stands out too little.
type derivative struct{ window window }

func newDerivative(b *base) (Reader, error) { return &derivative{b.window}, nil }

// Reset implements Reader.
func (*derivative) Reset() {}

// Read implements Reader.
func (d *derivative) Read(in *Input) Reading {
	w := &d.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	w.filter(in)
	x, best := w.smooth, -1
	for i := w.lo + 1; i < w.hi-1; i++ {
		if x[i] > x[i-1] && x[i] >= x[i+1] && (best < 0 || x[i] > x[best]) {
			best = i
		}
	}
	if best < 0 {
		return decline(whyEdge)
	}
	if why := w.peak(x, best); why != "" {
		return decline(why)
	}
	// The derivative is known midway between samples, and linear from there to there.
	l, m, r := in.Theta[best-1], in.Theta[best], in.Theta[best+1]
	up, down := (x[best]-x[best-1])/(m-l), (x[best+1]-x[best])/(r-m)
	at := (l+m)/2 + (r-l)/2*up/(up-down)
	return Reading{Angle: at, Quality: w.quality(x, best), Humps: w.humps(x)}
}
