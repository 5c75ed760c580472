package ode

// At stores the state at x in dst, by the continuous extension of order 4;
// x lies between From and To. At From and at the end of an uncut step the
// state is the computed one, bit for bit.
func (s *Step) At(x float64, dst []float64) {
	checkLen("dst", len(dst), len(s.y))
	switch x {
	case s.from:
		copy(dst, s.y)
		return
	case s.end:
		copy(dst, s.next)
		return
	}
	s.prepare()
	t := (x - s.from) / s.h
	u := 1 - t
	for i := range dst {
		p := s.r[1][i] + t*(s.r[2][i]+u*s.r[3][i])
		dst[i] = s.y[i] + t*(s.r[0][i]+u*p)
	}
}

// Slope stores the derivative of the continuous extension at x in dst;
// x lies between From and To. It is of order 3 between the ends, and equals
// the right-hand side at them.
func (s *Step) Slope(x float64, dst []float64) {
	checkLen("dst", len(dst), len(s.y))
	switch x {
	case s.from:
		copy(dst, s.k[0])
		return
	case s.end:
		copy(dst, s.k[stages-1])
		return
	}
	s.prepare()
	t := (x - s.from) / s.h
	u := 1 - t
	for i := range dst {
		r1, r2, r3 := s.r[1][i], s.r[2][i], s.r[3][i]
		p := r1 + t*(r2+u*r3)
		dp := r2 + (u-t)*r3
		dst[i] = (s.r[0][i] + u*p + t*(u*dp-p)) / s.h
	}
}

// prepare computes the terms of, with t = (x-from)/h and u = 1-t,
//
//	y(t) = y + t·(r0 + u·(r1 + t·(r2 + u·r3))).
//
// Source: Hairer, Norsett, Wanner, II.6, as Hermite form.
func (s *Step) prepare() {
	if s.dense {
		return
	}
	s.dense = true
	k := &s.k
	for i := range s.y {
		diff := s.next[i] - s.y[i]
		r1 := s.h*k[0][i] - diff
		s.r[0][i] = diff
		s.r[1][i] = r1
		s.r[2][i] = diff - s.h*k[stages-1][i] - r1
		sum := 0.
		for j, dj := range d {
			sum += dj * k[j][i]
		}
		s.r[3][i] = s.h * sum
	}
}
