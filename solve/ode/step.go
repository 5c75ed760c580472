package ode

// Step is one accepted step with its continuous extension. It is valid only
// during the call it is given to.
type Step struct {
	from, end float64 // as computed
	to        float64 // end, or an event before it
	h         float64 // end - from, signed

	y, next []float64         // state at from and at end
	k       [stages][]float64 // derivatives at the stages
	arg     []float64         // state handed to Derive
	r       [4][]float64      // terms of the continuous extension
	dense   bool              // r belongs to this step
}

func (s *Step) init(n int) {
	buf := make([]float64, n*(3+stages+len(s.r)))
	cut := func() []float64 {
		p := buf[:n:n]
		buf = buf[n:]
		return p
	}
	s.y, s.next, s.arg = cut(), cut(), cut()
	for i := range s.k {
		s.k[i] = cut()
	}
	for i := range s.r {
		s.r[i] = cut()
	}
}

// From returns where the step begins.
func (s *Step) From() float64 { return s.from }

// To returns where the step ends: below From if the integration runs backward.
func (s *Step) To() float64 { return s.to }

// combine stores y + h Σ w[j]·k[j] in dst.
func (s *Step) combine(dst, w []float64) {
	y := s.y[:len(dst)]
	for i := range dst {
		sum := 0.
		for j, wj := range w {
			sum += wj * s.k[j][i]
		}
		dst[i] = y[i] + s.h*sum
	}
}

// try computes next and k[1:] for the step from → end; y and k[0] are given.
func (s *Step) try(f *field, from, end float64) {
	s.from, s.end, s.to, s.h = from, end, end, end-from
	s.dense = false
	for i := 1; i < stages-1; i++ {
		x := end
		if c[i] != 1 {
			x = from + c[i]*s.h
		}
		s.combine(s.arg, a[i][:i])
		f.derive(s.k[i], x, s.arg)
	}
	s.combine(s.next, a[stages-1][:])
	f.derive(s.k[stages-1], end, s.next)
}

// advance makes the end of the step the start of the next one.
func (s *Step) advance() {
	last := stages - 1
	s.y, s.next = s.next, s.y
	s.k[0], s.k[last] = s.k[last], s.k[0]
}
