package control

var retardKind = Kind{Name: "knock-retard", About: "retards at a knock event, returns slowly", Needs: []Need{NeedKnock},
	Numbers: []Number{
		knockThreshold,
		{"retard_deg", "retard at a knock event", "deg", deg, 0.05, 10, 1.5},
		{"return_deg", "advance in any other cycle", "deg", deg, 0.0005, 1, 0.015},
		knockMost,
	},
	make: func(v values) Law {
		return &knockRetard{v["threshold"], v["retard_deg"], v["return_deg"], v["most_deg"]}
	}}

// knockRetard attacks fast and returns slowly,
//
//	s' = s − R  at a knock event,  s' = s + r  in any other cycle,
//
// which settles where (1−p)·r = p·R, at the knock rate
//
//	p = r/(r+R)
//
// of any engine: 0.0099 for the usual numbers (common practice, no source). A cycle
// that is not heard moves nothing.
type knockRetard struct{ threshold, retard, back, most float64 }

// Reset implements Law.
func (*knockRetard) Reset() {}

// Next implements Law.
func (l *knockRetard) Next(s *Seen) Order {
	move := l.back
	switch {
	case unheard(s):
		move = 0
	case s.Knock >= l.threshold:
		move = -l.retard
	}
	return capped(together(s.Ordered.Leading+move), ahead(s, l.most))
}
