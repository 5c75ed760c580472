package control

// RetardOnly returns law with its orders no earlier than the base map; where there is no
// base, no earlier than the last order.
func RetardOnly(law Law) Law { return &retardOnly{law} }

type retardOnly struct{ Law }

// Next implements Law.
func (l *retardOnly) Next(s *Seen) Order { return capped(l.Law.Next(s), ahead(s, 0)) }
