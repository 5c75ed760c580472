package reader

// mirror takes the motored pressure from the samples, the mirror image of the
// compression. What is left is combustion, and the greatest pressure where half
// of the most of it is left is the reading: the motored hump at dead centre is no
// peak to it. It declines where combustion adds too little. The compression must
// be pegged: an offset of the pressure is taken for combustion.
type mirror struct {
	window  window
	motored motored
	rest    []float64
}

// leastCombustion is what combustion must add, of the motored peak. Our own choice.
const leastCombustion = 0.1

func newMirror(b *base) (Reader, error) {
	ch, err := b.engine.Chamber()
	return &mirror{window: b.window, motored: motored{chamber: ch, exponent: b.window.set.Exponent}}, err
}

// Reset implements Reader.
func (*mirror) Reset() {}

// Read implements Reader.
func (m *mirror) Read(in *Input) Reading {
	w := &m.window
	if why := w.open(in); why != "" {
		return decline(why)
	}
	level := m.motored.lay(in)
	w.filter(in)
	if cap(m.rest) < len(in.Theta) {
		m.rest = make([]float64, len(in.Theta))
	}
	m.rest = m.rest[:len(in.Theta)]
	for i := w.lo; i < w.hi; i++ {
		m.rest[i] = w.smooth[i] - level*m.motored.work[i]
	}
	most := m.rest[w.top(m.rest)]
	if !(most >= leastCombustion*level && most >= w.set.Least*w.noise) {
		return decline("no combustion above the compression")
	}
	best := -1
	for i := w.lo; i < w.hi; i++ {
		if m.rest[i] >= most/2 && (best < 0 || w.smooth[i] > w.smooth[best]) {
			best = i
		}
	}
	return Reading{Angle: in.Theta[best], Quality: w.quality(w.smooth, best), Humps: w.humps(w.smooth)}
}
