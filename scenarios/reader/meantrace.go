package reader

import (
	"fmt"

	"phasebench/model"
)

// meanTrace reads the mean of the last cycles.
type meanTrace struct {
	inner  Reader
	ring   [][]float64
	filled int
	next   int
	angles int
	mean   []float64
}

// MeanTrace returns a reader that gives r, each cycle, the mean of the samples of
// the last cycles, 1 to 1000, as many as there are. Spark, speed and MAP are those
// of the last one. A cycle with another number of samples begins anew. Noise
// falls with the root of cycles; a hump that moves from cycle to cycle blurs.
// Errors are a *model.Problem.
func MeanTrace(r Reader, cycles int) (Reader, error) {
	if cycles < 1 || cycles > 1000 {
		return nil, &model.Problem{Key: "cycles", Given: fmt.Sprint(cycles), Want: "1 to 1000"}
	}
	return &meanTrace{inner: r, ring: make([][]float64, cycles)}, nil
}

// Reset implements Reader.
func (m *meanTrace) Reset() {
	m.filled, m.next = 0, 0
	m.inner.Reset()
}

// Read implements Reader.
func (m *meanTrace) Read(in *Input) Reading {
	if !whole(in) {
		return decline(whyBroken)
	}
	if n := len(in.Theta); n != m.angles {
		m.angles, m.filled, m.next = n, 0, 0
		m.mean = make([]float64, n)
		for i := range m.ring {
			m.ring[i] = make([]float64, n)
		}
	}
	copy(m.ring[m.next], in.Values)
	m.next = (m.next + 1) % len(m.ring)
	m.filled = min(m.filled+1, len(m.ring))
	for i := range m.mean {
		m.mean[i] = 0
		for _, cycle := range m.ring[:m.filled] {
			m.mean[i] += cycle[i]
		}
		m.mean[i] /= float64(m.filled)
	}
	mean := *in
	mean.Values = m.mean
	return m.inner.Read(&mean)
}
