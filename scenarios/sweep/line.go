package sweep

import (
	"context"
	"fmt"
	"math"
	"reflect"

	"phasebench/model"
	"phasebench/solve"
)

// The sparks that are looked at [rad]: what a person would try on any engine.
const (
	mostRetarded = -20 * deg
	mostAdvanced = 90 * deg
	coarse       = 15 * deg // between those looked at first
)

// line is one operating point over all sparks. It keeps the points that were
// solved.
type line struct {
	solver *solve.Solver
	op     model.Operating
	points []Point
	failed error // the first error of a spark that could not be solved
}

// at returns the point at spark [rad]. One that the engine cannot have is
// Missing; an error is only that of ctx.
func (l *line) at(ctx context.Context, spark float64) (Point, error) {
	for i := range l.points {
		if l.points[i].Operating.Spark == spark {
			return l.points[i], nil
		}
	}
	p, err := at(ctx, l.solver, l.op, spark)
	if ctx.Err() != nil {
		return Point{}, ctx.Err()
	}
	if err != nil {
		op := l.op
		op.Spark = spark
		p = missing(op, err.Error())
		if l.failed == nil {
			l.failed = err
		}
	}
	l.points = append(l.points, p)
	return p, nil
}

// ends returns the most retarded and the most advanced spark that are looked
// at: all plugs have to fire while the valves are shut.
func (l *line) ends() (low, high float64) {
	from, to := l.solver.Engine().Sealed()
	split := [2]float64{}
	if l.solver.Engine().Burn.Plugs == 2 {
		split = [2]float64{math.Min(l.op.Split, 0), math.Max(l.op.Split, 0)}
	}
	const margin = 0.01 * deg
	return math.Max(mostRetarded, -to+split[1]+margin), math.Min(mostAdvanced, -from+split[0]-margin)
}

// scan solves the sparks that are looked at first, the most retarded first,
// until one of them is found to be enough.
func (l *line) scan(ctx context.Context, enough func(*Point) bool) ([]Point, error) {
	low, high := l.ends()
	n := int(math.Ceil((high-low)/coarse - 1e-9))
	var all []Point
	for i := range n + 1 {
		p, err := l.at(ctx, low+(high-low)*float64(i)/float64(n))
		if err != nil {
			return nil, err
		}
		all = append(all, p)
		if enough != nil && enough(&p) {
			break
		}
	}
	return all, nil
}

// mbt is MBT.
func (l *line) mbt(ctx context.Context) (Point, error) {
	// Far from MBT the torque may have other, lower humps, and sparks that
	// light nothing: so all over the place first.
	points, err := l.scan(ctx, nil)
	if err != nil {
		return Point{}, err
	}
	best, runs := -1, false
	look := func() {
		for i := range points {
			p := &points[i]
			runs = runs || p.Missing == ""
			if p.Lit && (best < 0 || p.Torque > points[best].Torque) {
				best = i
			}
		}
	}
	look()
	low, high := l.ends()
	for i, first := 1, points; i < 3 && best < 0 && runs; i++ { // a lean charge may light in a narrow span of sparks only
		for _, p := range first[:len(first)-1] {
			q, err := l.at(ctx, p.Operating.Spark+(high-low)/float64(len(first)-1)*float64(i)/3)
			if err != nil {
				return Point{}, err
			}
			points = append(points, q)
		}
		look()
	}
	if best < 0 {
		err := fmt.Errorf("sweep: at lambda %.3g, %.4g rpm and %.4g kPa no spark lights the charge: %w",
			l.op.Lambda, l.op.Speed*30/math.Pi, l.op.MAP/1e3, ErrNoMBT)
		if l.failed != nil {
			err = fmt.Errorf("%w: %w", err, l.failed)
		}
		return Point{}, err
	}
	x := points[best].Operating.Spark
	if best > 0 && best < len(points)-1 { // the parabola of the three, if they are neighbours
		a, b, c := &points[best-1], &points[best], &points[best+1]
		h := b.Operating.Spark - a.Operating.Spark
		if at := 0.5 * h * (a.Torque - c.Torque) / (a.Torque - 2*b.Torque + c.Torque); a.Lit && c.Lit && math.Abs(at) <= h/2 &&
			math.Abs(c.Operating.Spark-b.Operating.Spark-h) < 1e-9 {
			x += at
		}
	}
	x, err = peak(l.torque(ctx), x, low, high, 4*deg, 1.5*deg)
	if err != nil {
		return Point{}, err
	}
	p, err := l.at(ctx, x)
	if err == nil && !p.Lit { // the vertex between a spark that lights and one that does not
		p = points[best]
	}
	return p, err
}

// mbtNear is mbt by a climb from near [rad], an MBT of conditions much like these;
// where that lights nothing, or is none, MBT is looked for all over the place.
func (l *line) mbtNear(ctx context.Context, near float64) (Point, error) {
	if low, high := l.ends(); near >= low && near <= high {
		if p, err := l.at(ctx, near); err != nil || p.Lit {
			x, err := peak(l.torque(ctx), near, low, high, 4*deg, 1.5*deg)
			if err != nil {
				return Point{}, err
			}
			if p, err := l.at(ctx, x); err != nil || p.Lit {
				return p, err
			}
		}
	}
	return l.mbt(ctx)
}

func (l *line) torque(ctx context.Context) func(float64) (float64, error) {
	return func(spark float64) (float64, error) {
		p, err := l.at(ctx, spark)
		if !p.Lit {
			return math.Inf(-1), err
		}
		return p.Torque, err
	}
}

// held finds the spark, near that of from, at which the angle of a point is
// target [rad]. The angle falls as the spark advances.
func (l *line) held(ctx context.Context, from *Point, what string, target float64, angle func(*Point) float64) (Point, error) {
	off := func(spark float64) (float64, error) {
		p, err := l.at(ctx, spark)
		if !p.Lit {
			return math.NaN(), err
		}
		return angle(&p) - target, err
	}
	op := l.op
	op.Spark = math.NaN()
	none := missing(op, fmt.Sprintf("no spark puts %s at %.4g deg", what, target/deg))
	low, high := l.ends()
	const dx, df, step = 1e-4 * deg, 1e-4 * deg, 3 * deg
	a := from.Operating.Spark
	fa := angle(from) - target
	if math.Abs(fa) <= df {
		return *from, nil
	}
	for n := 0; n < 60; n++ {
		b := math.Min(math.Max(a+math.Copysign(math.Max(step, math.Abs(fa)), fa), low), high)
		fb, err := off(b)
		if err != nil {
			return Point{}, err
		}
		if (fa > 0) != (fb > 0) && !math.IsNaN(fb) {
			ends, values, err := root(off, a, fa, b, fb, dx, df)
			if err != nil {
				return Point{}, err
			}
			i := 0
			if math.Abs(values[1]) < math.Abs(values[0]) {
				i = 1
			}
			if !(math.Abs(values[i]) < 0.01*deg) { // a leap, not a root
				return none, nil
			}
			return l.at(ctx, ends[i])
		}
		if !(math.Abs(fb) < math.Abs(fa)) {
			break // it turns away
		}
		a, fa = b, fb
	}
	return none, nil
}

// missing is a point without numbers.
func missing(op model.Operating, why string) Point {
	p := Point{Operating: op, Missing: why}
	numbers := reflect.ValueOf(&p.Indicators).Elem()
	for i := range numbers.NumField() {
		numbers.Field(i).SetFloat(math.NaN())
	}
	return p
}
