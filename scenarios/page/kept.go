package page

import (
	"slices"
	"sync"
)

// kept keeps the things that were asked for last, most of them, each made once.
type kept[K comparable, V any] struct {
	most int

	mu    sync.Mutex
	all   map[K]V
	order []K // the latest last
}

// of returns what is kept under key; what is not is made by fresh, which must be quick.
func (k *kept[K, V]) of(key K, fresh func() V) V {
	k.mu.Lock()
	defer k.mu.Unlock()
	v, ok := k.all[key]
	if ok {
		i := slices.Index(k.order, key)
		k.order = append(slices.Delete(k.order, i, i+1), key)
		return v
	}
	if k.all == nil {
		k.all = map[K]V{}
	}
	if len(k.order) == k.most {
		delete(k.all, k.order[0])
		k.order = slices.Delete(k.order, 0, 1)
	}
	v = fresh()
	k.all[key], k.order = v, append(k.order, key)
	return v
}
