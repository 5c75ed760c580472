package reader

// smoothed is maximum after the filter. It declines like that one.
type smoothed struct{ window window }

func newSmoothed(b *base) (Reader, error) { return &smoothed{b.window}, nil }

// Reset implements Reader.
func (*smoothed) Reset() {}

// Read implements Reader.
func (s *smoothed) Read(in *Input) Reading {
	w := &s.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	w.filter(in)
	k := w.top(w.smooth)
	return Reading{Angle: in.Theta[k], Quality: w.quality(w.smooth, k), Humps: w.humps(w.smooth)}
}
