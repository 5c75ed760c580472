package flame

import (
	"math"
	"slices"
)

// All lengths in this file are over the bore, so the liner has radius rim.
const rim = 0.5

// cell is the part of the chamber that belongs to one plug, seen from above:
// the points of the disc nearer to this plug than to any other. It is convex,
// so every ray from the plug leaves it once, at distance ρ.
type cell struct {
	off    float64 // from the axis to the plug [-]
	pieces []piece
	area   float64 // [-]
	// marks are the distances where the front meets a wall, a plane or an
	// edge for the first time, ascending; the last is the farthest point.
	marks []float64
}

// piece is a range of rays that end on one boundary. Their angle β is counted
// from the ray to the nearest point of that boundary, so that ρ never falls
// as β grows.
type piece struct {
	times    float64 // how many such pieces there are
	from, to float64 // β [rad], 0 <= from < to <= π
	plane    float64 // distance of a plane, 0 for the liner [-]
	off      float64 // from the axis to the plug; for the liner only [-]
}

// dist is ρ(β).
func (p *piece) dist(sin, cos float64) float64 {
	if p.plane > 0 {
		return p.plane / cos
	}
	cos *= p.off
	root := math.Sqrt(math.Max(0, rim*rim-p.off*p.off*sin*sin))
	if cos > 0 { // the same without cancellation
		return (rim*rim - p.off*p.off) / (root + cos)
	}
	return root - cos
}

// angle is β(ρ), kept within the piece.
func (p *piece) angle(dist float64) float64 {
	var cos float64
	switch {
	case p.plane > 0 && dist > p.plane:
		cos = p.plane / dist
	case p.plane == 0 && dist > rim-p.off:
		cos = math.Max(-1, (rim*rim-p.off*p.off-dist*dist)/(2*p.off*dist)) // -Inf on the axis
	default:
		return p.from
	}
	return math.Min(math.Max(math.Acos(math.Min(cos, 1)), p.from), p.to)
}

// swept is half the integral of ρ² dβ from 0 to β, and the length of the liner
// on the way.
func (p *piece) swept(beta float64) (area, liner float64) {
	sin, cos := math.Sincos(beta)
	if p.plane > 0 {
		return p.plane * p.plane / 2 * sin / cos, 0
	}
	d := p.dist(sin, cos)
	about := math.Atan2(d*sin, p.off+d*cos) // angle about the axis
	return rim / 2 * (rim*about - p.off*math.Sin(about)), rim * about
}

// form is the burned region behind a front of radius r in a chamber of height
// h, both over the bore.
type form struct {
	volume float64 // over B³
	zone   float64 // free area of the front over r·B
	head   float64 // over B², as the next two
	piston float64
	liner  float64
}

// direct finds the form by quadrature over the rays. On a ray the front meets
// the boundary at the height
//
//	zb = √(r² − ρ²), 0 <= zb <= zt = min(h, r),
//
// and dV = ½(r² zt − zt³/3)dβ − ⅓ zb³ dβ as long as zb < h, by integrating
// min(ρ, √(r²−z²))² over z, and d(Af) = r (zt − zb) dβ by the theorem of
// Archimedes. Only the rays with 0 < zb < h need numbers.
func (c *cell) direct(r, h float64) form {
	var f form
	top := math.Min(h, r)
	foot := math.Sqrt(math.Max(0, r*r-h*h)) // radius on the piston
	under := (r*r*top - top*top*top/3) / 2
	for i := range c.pieces {
		p := &c.pieces[i]
		down, up := p.from, p.angle(r)
		if foot > 0 {
			down = p.angle(foot)
		}
		area0, liner0 := p.swept(p.from)
		area1, liner1 := p.swept(down)
		area2, _ := p.swept(up)
		one, three, wall := p.between(r, down, up)

		f.volume += p.times * (h*(area1-area0) + under*(p.to-down) - three/3)
		f.zone += p.times * (top*(p.to-down) - one)
		f.head += p.times * (area2 - area0 + r*r/2*(p.to-up))
		f.piston += p.times * (area1 - area0 + foot*foot/2*(p.to-down))
		f.liner += p.times * (h*(liner1-liner0) + wall)
	}
	return f
}

// between integrates zb dβ, zb³ dβ and zb over the liner.
func (p *piece) between(r, from, to float64) (one, three, wall float64) {
	// A plug next to the liner sees ρ turn sharply at a right angle.
	if p.off > 0.6*rim && from < math.Pi/2 && to > math.Pi/2 {
		a, b, c := p.between(r, from, math.Pi/2)
		d, e, f := p.between(r, math.Pi/2, to)
		return a + d, b + e, c + f
	}
	span := to - from
	if !(span > 0) {
		return 0, 0, 0
	}
	for i, x := range clustered.x {
		sin, cos := math.Sincos(from + span*x)
		d := p.dist(sin, cos)
		height := math.Sqrt(math.Max(0, r*r-d*d))
		w := span * clustered.w[i]
		one += w * height
		three += w * height * height * height
		if p.plane == 0 {
			if root := d + p.off*cos; root > 0 {
				wall += w * height * d * rim / root
			}
		}
	}
	return one, three, wall
}

// clustered is a Gauss-Legendre rule over 0 to 1 in t for x = t³(10−15t+6t²),
// which smooths square roots at both ends.
var clustered = func() (rule struct{ x, w [20]float64 }) {
	const n = float64(len(rule.x))
	for i := range rule.x {
		// A root of the Legendre polynomial by Newton's method.
		x, slope := math.Cos(math.Pi*(float64(i)+0.75)/(n+0.5)), 0.
		for range 8 {
			a, b := 1., x
			for k := 2.; k <= n; k++ {
				a, b = b, ((2*k-1)*x*b-(k-1)*a)/k
			}
			slope = n * (x*b - a) / (x*x - 1)
			x -= b / slope
		}
		t := (1 + x) / 2
		rule.x[i] = t * t * t * (10 + t*(6*t-15))
		rule.w[i] = 30 * t * t * (1 - t) * (1 - t) / ((1 - x*x) * slope * slope)
	}
	return rule
}()

// newCell returns the cell of plugs[own], positions over the bore.
func newCell(plugs []Plug, own int) *cell {
	at := plugs[own]
	type line struct{ toward, dist float64 }
	var planes []line
	for i, p := range plugs {
		if i != own {
			planes = append(planes, line{math.Atan2(p.Y-at.Y, p.X-at.X), math.Hypot(p.X-at.X, p.Y-at.Y) / 2})
		}
	}
	c := &cell{off: math.Min(math.Hypot(at.X, at.Y), rim)}
	axis := math.Atan2(at.Y, at.X)
	liner := piece{off: c.off}

	// Rays where the boundary may change or ρ turns, counted from the axis.
	rays := []float64{0, math.Pi}
	add := func(angle float64) {
		if !math.IsNaN(angle) {
			rays = append(rays, turn(angle-axis))
		}
	}
	for i, l := range planes {
		add(l.toward)
		// The liner, in coordinates along and across the normal.
		sin, cos := math.Sincos(l.toward)
		along, across := at.X*cos+at.Y*sin+l.dist, at.Y*cos-at.X*sin
		half := math.Sqrt(rim*rim - along*along)
		add(l.toward + math.Atan2(half-across, l.dist))
		add(l.toward + math.Atan2(-half-across, l.dist))
		for _, m := range planes[:i] {
			// Both planes are met at u with u·n₁/d₁ = u·n₂/d₂.
			sm, cm := math.Sincos(m.toward)
			x, y := sm*l.dist-sin*m.dist, cos*m.dist-cm*l.dist
			add(math.Atan2(y, x))
			add(math.Atan2(-y, -x))
		}
	}
	slices.Sort(rays)
	owner, first := 0, 0 // boundary that ends the rays before, and the first
	edge := 0.           // distance at the last of the rays before
	var parts []piece    // with β of both signs
	for i, from := range rays {
		to := 2 * math.Pi
		if i+1 < len(rays) {
			to = rays[i+1]
		}
		if to-from < 1e-12 {
			continue
		}
		mid := (from + to) / 2
		best, origin := liner, 0.
		sin, cos := math.Sincos(mid)
		least := liner.dist(sin, cos)
		own := -1
		for k, l := range planes {
			toward := turn(l.toward - axis)
			if cos := math.Cos(mid - toward); cos > 0 && l.dist/cos < least {
				own, least, best, origin = k, l.dist/cos, piece{plane: l.dist}, toward
			}
		}
		shift := math.Remainder(mid-origin, 2*math.Pi) - mid
		a, b := from+shift, to+shift
		// A wall or plane is met first at its nearest point; an edge lies
		// where the owner of the rays changes.
		const close = 1e-12
		mark := func(beta float64) { c.marks = append(c.marks, best.dist(math.Sincos(beta))) }
		turns := math.Abs(a) < close
		if turns || math.Abs(b) < close {
			mark(0)
		}
		if best.plane == 0 && math.Max(math.Abs(a), math.Abs(b)) > math.Pi-close {
			mark(math.Pi)
		}
		if len(parts) > 0 && own != owner {
			mark(a)
		}
		if len(parts) == 0 {
			first = own
		}
		if n := len(parts) - 1; n >= 0 && own == owner && !turns && math.Abs(parts[n].to-a) < close {
			parts[n].to = b
		} else {
			best.from, best.to = a, b
			parts = append(parts, best)
		}
		owner, edge = own, best.dist(math.Sincos(b))
	}
	if owner != first {
		c.marks = append(c.marks, edge)
	}
	for _, p := range parts {
		if p.from+p.to < 0 {
			p.from, p.to = -p.to, -p.from
		}
		p.times, p.from, p.to = 1, math.Max(p.from, 0), math.Min(p.to, math.Pi)
		c.add(p)
	}
	for i := range c.pieces {
		p := &c.pieces[i]
		a, _ := p.swept(p.from)
		b, _ := p.swept(p.to)
		c.area += p.times * (b - a)
	}
	slices.Sort(c.marks)
	// Later marks closer than this count as one: they carry less than the
	// error of the table.
	last := c.marks[len(c.marks)-1]
	c.marks = slices.CompactFunc(c.marks, func(a, b float64) bool { return math.Abs(a-b) < 1e-6 })
	c.marks[len(c.marks)-1] = last
	return c
}

// add takes p into account, together with a piece that it mirrors.
func (c *cell) add(p piece) {
	const close = 1e-12
	for i := range c.pieces {
		q := &c.pieces[i]
		if q.plane == p.plane && math.Abs(q.from-p.from) < close && math.Abs(q.to-p.to) < close {
			q.times += p.times
			return
		}
	}
	c.pieces = append(c.pieces, p)
}

// turn brings an angle to 0 to 2π.
func turn(a float64) float64 {
	if a = math.Mod(a, 2*math.Pi); a < 0 {
		a += 2 * math.Pi
	}
	return a
}

// reach is the largest radius the front can have in a chamber of height h.
func (c *cell) reach(h float64) float64 { return math.Hypot(c.marks[len(c.marks)-1], h) }

// radius solves direct(r, h).volume = volume between two radii, from a guess.
func (c *cell) radius(volume, h, low, high, guess float64) (float64, form) {
	r := guess
	for range 60 {
		if !(r > low && r < high) {
			r = (low + high) / 2
		}
		f := c.direct(r, h)
		off := f.volume - volume
		if off > 0 {
			high = r
		} else {
			low = r
		}
		step := off / (r * f.zone) // dV/dr = Af
		if math.Abs(off) < 1e-14 || math.Abs(step) < 1e-11*r || high-low < 1e-14 {
			return r, f
		}
		r -= step
	}
	return r, c.direct(r, h)
}
