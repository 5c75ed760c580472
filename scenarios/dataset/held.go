package dataset

// held is a part in memory, column by column.
type held struct {
	schema  *schema
	cycles  int
	labels  [][]float64 // by label, then by cycle
	samples [][]float32 // by channel: all cycles one after another
	offsets [][]int64   // by channel: where each cycle begins, and the end; of channels of varying count
}

func newHeld(s *schema) *held {
	return &held{schema: s, labels: make([][]float64, len(s.labels)),
		samples: make([][]float32, len(s.channels)), offsets: make([][]int64, len(s.channels))}
}

// clear forgets the part and keeps the memory.
func (h *held) clear() {
	h.cycles = 0
	for i := range h.labels {
		h.labels[i] = h.labels[i][:0]
	}
	for i := range h.samples {
		h.samples[i] = h.samples[i][:0]
		h.offsets[i] = append(h.offsets[i][:0], 0)
	}
}

func (h *held) add(r *Row) {
	h.cycles++
	for i, v := range r.Labels {
		h.labels[i] = append(h.labels[i], v)
	}
	for i, v := range r.Channels {
		h.samples[i] = append(h.samples[i], v...)
		h.offsets[i] = append(h.offsets[i], int64(len(h.samples[i])))
	}
}
