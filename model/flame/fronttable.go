package flame

import "math"

// Heights over the bore that are tabulated.
const (
	lowest  = 0.02
	highest = 1.5
)

// Quantities of a form that are tabulated, smoother than those they stand for.
const (
	square = iota // r²
	zone          // Af/r
	head
	piston
	liner
	quantities
)

type values [quantities]float64

func (f *form) values(r float64) values {
	return values{r * r, f.zone, f.head, f.piston, f.liner}
}

// A stretch tabulates fronts that have not reached the piston, between two
// neighbouring marks, over w, with w²(3 − 2w) in proportion to the cube root of
// the volume. Height plays no part.
type stretch struct {
	from, to float64 // cube roots of the volume
	nodes    [][2]values
}

// A band is a range of heights between two neighbouring marks; in it the front
// meets everything in one order.
type band struct {
	low, high float64 // height
	rows      int     // nodes over the height
	// tight rows are denser at both ends, as w is; else they are even.
	tight bool
	// edges are where one patch ends and the next one begins: the share of
	// the volume left there, value and slope at each row. The last patch
	// ends with nothing left.
	edges   [][][2]float64
	patches []patch
}

// A patch tabulates fronts between two marks over height and
//
//	w, with σ = w²(3 − 2w),
//
// where σ runs from 0 to 1 in proportion to the volume. For a plug on the axis
// and a front at the liner, w·h is the height at which it touches the liner,
// and all quantities are polynomials in w and h; for others w still takes the
// square roots out of both ends.
type patch struct {
	cells int
	// nodes[row·(cells+1)+i] holds value, slope over w, slope over the
	// height, and the mixed slope, slopes per cell.
	nodes [][4]values
}

const (
	stretchCells = 96
	patchCells   = 32
)

func newFront(c *cell) *Front {
	f := &Front{Share: c.area / (math.Pi * rim * rim), area: c.area, first: c.marks[0]}
	// No mark is farther than the bore, which is below the highest height.
	from, low := c.marks[0], lowest
	for _, m := range append(c.marks, highest) {
		if m > from {
			f.open = append(f.open, c.stretch(from, m))
			from = m
		}
		if m > low {
			f.bands = append(f.bands, c.band(low, m))
			low = m
		}
	}
	return f
}

func (c *cell) stretch(from, to float64) stretch {
	// Any height >= to will do.
	a, b := c.direct(from, to), c.direct(to, to)
	s := stretch{from: math.Cbrt(a.volume), to: math.Cbrt(b.volume), nodes: make([][2]values, stretchCells+1)}
	r := from
	for i := range s.nodes {
		w := float64(i) / stretchCells
		x := s.from + (s.to-s.from)*w*w*(3-2*w)
		var q form
		switch i {
		case 0:
			q = a
		case stretchCells:
			r, q = to, b
		default:
			r, q = c.radius(x*x*x, to, from, to, r+(to-from)/stretchCells)
		}
		s.nodes[i][0] = q.values(r)
	}
	slopes(len(s.nodes), func(i int) *values { return &s.nodes[i][0] }, func(i int) *values { return &s.nodes[i][1] })
	return s
}

func (c *cell) band(low, high float64) band {
	// Functions of the height are gentle; low chambers need most care.
	rows := 1 + max(8, min(20, int(math.Ceil((high-low)/(0.015+0.05*low)))))
	b := band{low: low, high: high, rows: rows, tight: low > lowest}
	// Radii where patches begin: the piston or the first mark, whichever is
	// met last, and all marks beyond.
	var starts []func(h float64) float64
	if high > c.marks[0] {
		starts = append(starts, func(h float64) float64 { return h })
	}
	for _, m := range c.marks {
		if m >= high {
			starts = append(starts, func(float64) float64 { return m })
		}
	}
	ends := append(starts, c.reach)
	all := len(starts)
	for range all {
		b.edges = append(b.edges, make([][2]float64, rows))
		b.patches = append(b.patches, patch{cells: patchCells, nodes: make([][4]values, rows*(patchCells+1))})
	}
	for row := range rows {
		x := float64(row) / float64(rows-1)
		if b.tight {
			x *= x * (3 - 2*x)
		}
		h := low + (high-low)*x
		for k := range all {
			from, to := ends[k](h), ends[k+1](h)
			a, z := c.direct(from, h), c.direct(to, h)
			if k == all-1 {
				z.volume = c.area * h
			}
			b.edges[k][row][0] = 1 - a.volume/(c.area*h)
			p := &b.patches[k]
			line := p.nodes[row*(p.cells+1):][:p.cells+1]
			line[0][0], line[p.cells][0] = a.values(from), z.values(to)
			r, before := from, from
			for i := 1; i < p.cells; i++ {
				w := float64(i) / float64(p.cells)
				guess := math.Sqrt(math.Max(0, 2*r*r-before*before))
				if i == 1 {
					guess = from + (to-from)*w*w
				}
				before = r
				var q form
				r, q = c.radius(a.volume+w*w*(3-2*w)*(z.volume-a.volume), h, from, to, guess)
				line[i][0] = q.values(r)
			}
		}
	}
	for k := range b.patches {
		p, e := &b.patches[k], b.edges[k]
		slopesOf(len(e), func(i int) *float64 { return &e[i][0] }, func(i int) *float64 { return &e[i][1] })
		width := p.cells + 1
		for row := range rows {
			line := p.nodes[row*width:][:width]
			slopes(width, func(i int) *values { return &line[i][0] }, func(i int) *values { return &line[i][1] })
		}
		for i := range width {
			at := func(j, kind int) *values { return &p.nodes[j*width+i][kind] }
			slopes(rows, func(j int) *values { return at(j, 0) }, func(j int) *values { return at(j, 2) })
			slopes(rows, func(j int) *values { return at(j, 1) }, func(j int) *values { return at(j, 3) })
		}
	}
	return b
}

// slopes fills the slopes of n >= 5 nodes one apart, each quantity by itself.
func slopes(n int, from, to func(i int) *values) {
	for q := range quantities {
		slopesOf(n, func(i int) *float64 { return &from(i)[q] }, func(i int) *float64 { return &to(i)[q] })
	}
}

// slopesOf uses the quartic through five nodes, central where it can.
func slopesOf(n int, from, to func(i int) *float64) {
	// Weights at the first, second and third node; the last two mirror them.
	weights := [3][5]float64{{-25, 48, -36, 16, -3}, {-3, -10, 18, -6, 1}, {1, -8, 0, 8, -1}}
	for i := range n {
		start := min(max(i-2, 0), n-5)
		at, sum := i-start, 0.
		for k := range 5 {
			if at <= 2 {
				sum += weights[at][k] * *from(start + k)
			} else {
				sum -= weights[4-at][4-k] * *from(start + k)
			}
		}
		*to(i) = sum / 12
	}
}

// hermite returns the weights of value and slope at both ends of a cell.
func hermite(t float64) (value0, slope0, value1, slope1 float64) {
	u := 1 - t
	return (1 + 2*t) * u * u, t * u * u, t * t * (1 + 2*u), -t * t * u
}

// cellOf splits a place, 0 to 1 of n cells, into a cell and the place in it.
func cellOf(x float64, n int) (int, float64) {
	x = math.Min(math.Max(x, 0), 1) * float64(n)
	i := min(int(x), n-1)
	return i, x - float64(i)
}

// find returns the quantities for a share of the volume, 0 < burned <= 1, and
// a tabulated height.
func (f *Front) find(burned, eta float64) values {
	volume := burned * f.area * eta
	free := 2 * math.Pi / 3 * volumeOf(math.Min(eta, f.first))
	if volume <= free { // a hemisphere
		r := math.Cbrt(volume / (2 * math.Pi / 3))
		return values{square: r * r, zone: 2 * math.Pi * r, head: math.Pi * r * r}
	}
	if eta < f.first { // a zone of a sphere
		if sq := volume/(math.Pi*eta) + eta*eta/3; sq <= f.first*f.first {
			return values{square: sq, zone: 2 * math.Pi * eta, head: math.Pi * sq, piston: math.Pi * (sq - eta*eta)}
		}
	}
	b := &f.bands[0]
	for i := 1; i < len(f.bands) && eta > b.high; i++ {
		b = &f.bands[i]
	}
	y := (eta - b.low) / (b.high - b.low)
	if b.tight {
		y = unstep(math.Min(math.Max(y, 0), 1))
	}
	row, t := cellOf(y, b.rows-1)
	var wh [4]float64
	wh[0], wh[1], wh[2], wh[3] = hermite(t)
	left := 1 - burned

	k := len(b.patches) - 1
	begin, end := b.left(k, row, &wh), 0.
	for left > begin && k > 0 {
		k--
		end, begin = begin, b.left(k, row, &wh)
	}
	if left > begin && eta > f.first {
		return f.above(volume)
	}
	sigma := 1.
	if begin > end {
		sigma = math.Min(math.Max((begin-left)/(begin-end), 0), 1)
	}
	w := unstep(sigma)
	p := &b.patches[k]
	i, u := cellOf(w, p.cells)
	var ww [4]float64
	ww[0], ww[1], ww[2], ww[3] = hermite(u)
	var out values
	for side := range 2 {
		for end := range 2 {
			n := &p.nodes[(row+side)*(p.cells+1)+i+end]
			hv, hs, wv, ws := wh[2*side], wh[2*side+1], ww[2*end], ww[2*end+1]
			a, b, c, d := hv*wv, hv*ws, hs*wv, hs*ws
			for q := range out {
				out[q] += a*n[0][q] + b*n[1][q] + c*n[2][q] + d*n[3][q]
			}
		}
	}
	return out
}

// left is the share of the volume left where patch k begins.
func (b *band) left(k, row int, w *[4]float64) float64 {
	e := b.edges[k][row:]
	return w[0]*e[0][0] + w[1]*e[0][1] + w[2]*e[1][0] + w[3]*e[1][1]
}

// above returns the quantities of a front that has not reached the piston.
func (f *Front) above(volume float64) values {
	x := math.Cbrt(volume)
	s := &f.open[0]
	for i := 1; i < len(f.open) && x > s.to; i++ {
		s = &f.open[i]
	}
	i, t := cellOf(unstep(math.Min(math.Max((x-s.from)/(s.to-s.from), 0), 1)), stretchCells)
	a, b, c, d := hermite(t)
	n, m := &s.nodes[i], &s.nodes[i+1]
	var out values
	for q := range out {
		out[q] = a*n[0][q] + b*n[1][q] + c*m[0][q] + d*m[1][q]
	}
	return out
}

// unstep solves x = w²(3 − 2w), 0 <= x <= 1, for w.
func unstep(x float64) float64 { return 0.5 - math.Sin(math.Asin(1-2*x)/3) }

func volumeOf(x float64) float64 { return x * x * x }
