package control

var tableKind = Kind{Name: "table", About: "the base map, whatever is read",
	make: func(values) Law { return baseMap{} }}

// baseMap is the open loop: the spark of the base map, or the last order where there
// is none.
type baseMap struct{}

// Reset implements Law.
func (baseMap) Reset() {}

// Next implements Law.
func (baseMap) Next(s *Seen) Order {
	if !finite(s.Base) {
		return together(s.Ordered.Leading)
	}
	return together(s.Base)
}
