package control

// ring holds the last of what was added, as many as it has room for.
type ring[T any] struct {
	all  []T // in no order
	next int // where the next one goes once all is full
}

func newRing[T any](room int) ring[T] { return ring[T]{all: make([]T, 0, room)} }

func (r *ring[T]) add(v T) {
	if len(r.all) < cap(r.all) {
		r.all = append(r.all, v)
		return
	}
	r.all[r.next] = v
	r.next = (r.next + 1) % len(r.all)
}

func (r *ring[T]) clear() { r.all, r.next = r.all[:0], 0 }
