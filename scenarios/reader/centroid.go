package reader

// centroid reads the centre of the area of the filtered samples above half height,
// between the lowest and the highest in the window: steady under noise, and drawn
// to the flatter side of a hump. It declines where there is no peak.
type centroid struct{ window window }

func newCentroid(b *base) (Reader, error) { return &centroid{b.window}, nil }

// Reset implements Reader.
func (*centroid) Reset() {}

// Read implements Reader.
func (c *centroid) Read(in *Input) Reading {
	w := &c.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	w.filter(in)
	k := w.top(w.smooth)
	if why := w.stands(w.smooth, k); why != "" {
		return decline(why)
	}
	level := (w.ground(w.smooth) + w.smooth[k]) / 2
	area, moment := 0., 0.
	for i := w.lo; i < w.hi; i++ {
		if h := w.smooth[i] - level; h > 0 {
			area, moment = area+h, moment+h*in.Theta[i]
		}
	}
	return Reading{Angle: moment / area, Quality: w.quality(w.smooth, k), Humps: w.humps(w.smooth)}
}
