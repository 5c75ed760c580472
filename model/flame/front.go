package flame

import (
	"errors"
	"fmt"
	"math"
	"sync"
)

// ErrPlug is wrapped by every error about a plug or bore that NewFronts
// refuses.
var ErrPlug = errors.New("impossible spark plug")

// MaxPlugs is the most plugs NewFronts takes.
const MaxPlugs = 4

// apart is the least distance of two plugs over the bore (our own choice).
const apart = 0.02

// Plug is where a spark plug sits on the flat head, from the cylinder axis.
type Plug struct {
	X, Y float64 // [m], X² + Y² <= (bore/2)²
}

// Front is a spherical flame front about one plug in a disc chamber, cut by
// head, piston and liner. With several plugs every front keeps to the part of
// the chamber nearer to its plug than to any other: fronts merge on the planes
// between plugs, which are no walls and count as no area.
//
// The free area has a kink where the front first meets a wall or a plane, as
// the true one has, and Shape keeps it in its place. Between two such places
// Shape is C1 in volume and height, unless the height passes the distance from
// the plug to such a place; it is continuous everywhere. For
// heights to 0.4 bores the free area is that of the exact geometry to 2e-3 of
// the square of the bore, at worst just before all is enclosed, and to 1e-4 in
// the mean square over the range of radii; taller chambers are 3 times worse.
//
// A Front may be read by many goroutines at once.
type Front struct {
	// Share is the share of the chamber that belongs to this front [-],
	// > 0; those of all fronts sum to 1.
	Share float64

	bore  float64
	first float64   // where the front meets a boundary for the first time, over the bore
	area  float64   // of the cell, over the square of the bore
	open  []stretch // not yet down at the piston
	bands []band
}

// Shape is what a front encloses.
type Shape struct {
	Radius float64 // of the front [m]
	Area   float64 // of the free front [m²]
	Head   float64 // wall wetted by the gas behind the front [m²]
	Piston float64 // [m²]
	Liner  float64 // [m²]
}

// NewFronts returns one front per plug, in their order, for a cylinder of the
// given bore [m]. Errors wrap ErrPlug.
func NewFronts(bore float64, plugs []Plug) ([]*Front, error) {
	if !(bore > 0) || math.IsInf(bore, 0) {
		return nil, fmt.Errorf("flame: bore = %g m, want > 0: %w", bore, ErrPlug)
	}
	if len(plugs) < 1 || len(plugs) > MaxPlugs {
		return nil, fmt.Errorf("flame: %d plugs, want 1 to %d: %w", len(plugs), MaxPlugs, ErrPlug)
	}
	scaled := make([]Plug, len(plugs))
	for i, p := range plugs {
		scaled[i] = Plug{p.X / bore, p.Y / bore}
		// A plug on the liner may be off by the rounding of its sine.
		if e := math.Hypot(scaled[i].X, scaled[i].Y); !(e <= rim*(1+1e-12)) {
			return nil, fmt.Errorf("flame: plug %d is %g m off the axis, want at most half the bore, %g m: %w", i, math.Hypot(p.X, p.Y), rim*bore, ErrPlug)
		}
		for j, q := range scaled[:i] {
			if d := math.Hypot(scaled[i].X-q.X, scaled[i].Y-q.Y); !(d >= apart) {
				return nil, fmt.Errorf("flame: plugs %d and %d are %.3g m apart, want at least %.3g m: %w", j, i, math.Hypot(p.X-plugs[j].X, p.Y-plugs[j].Y), apart*bore, ErrPlug)
			}
		}
	}
	fronts := make([]*Front, len(plugs))
	var group sync.WaitGroup
	for i := range plugs {
		group.Go(func() {
			fronts[i] = newFront(newCell(scaled, i))
			fronts[i].bore = bore
		})
	}
	group.Wait()
	return fronts, nil
}

// At returns the shape of the front that encloses the volume vb [m³], 0 to
// Share·V, in a chamber of height h = V/(π·bore²/4) [m], > 0. More or less
// volume than possible counts as all or nothing, so that a trial step of an
// integrator does no harm; NaN or an impossible height gives a Shape of NaN.
//
// Heights of 0.02 to 1.5 bores are tabulated. Beyond them the shape is the one
// of the nearest tabulated height with the same share of the volume enclosed,
// stretched along the axis. At never allocates.
func (f *Front) At(vb, h float64) Shape {
	if !(h > 0) || math.IsInf(h, 0) || math.IsNaN(vb) {
		nan := math.NaN()
		return Shape{nan, nan, nan, nan, nan}
	}
	b := f.bore
	tall := h / b
	eta := math.Min(math.Max(tall, lowest), highest)
	stretch := tall / eta * b * b
	burned := vb / (f.area * b * b * h)
	if !(burned > 0) {
		return Shape{}
	}
	q := f.find(math.Min(burned, 1), eta)
	r := math.Sqrt(q[square])
	return Shape{
		Radius: b * r,
		Area:   stretch * r * math.Max(q[zone], 0),
		Head:   b * b * q[head],
		Piston: b * b * q[piston],
		Liner:  stretch * math.Max(q[liner], 0),
	}
}
