package reader

// maximum is the plain reader: the greatest sample of the window, right or wrong.
// It declines only where there are no samples; the quality is 0 at an edge of the
// window, where the greatest sample is no peak.
type maximum struct{ window window }

func newMaximum(b *base) (Reader, error) { return &maximum{b.window}, nil }

// Reset implements Reader.
func (*maximum) Reset() {}

// Read implements Reader.
func (m *maximum) Read(in *Input) Reading {
	w := &m.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	k := w.top(in.Values)
	return Reading{Angle: in.Theta[k], Quality: w.quality(in.Values, k)}
}
