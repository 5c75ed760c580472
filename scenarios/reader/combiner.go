package reader

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/stat"

	"phasebench/model"
)

// Combiner makes one number of the readings of the last cycles.
type Combiner interface {
	Add(Reading) // of the next cycle; one that declined counts as such
	Reset()
	Result() Combined
}

// Combined is what a Combiner makes of the readings it holds.
type Combined struct {
	Angle    float64 // [rad]; NaN without a reading
	Spread   float64 // standard deviation of all readings [rad]; NaN with fewer than two
	Count    int     // readings with an angle
	Declined int     // readings without
	Modes    int     // tops of the density of the readings, see modes; 0 without a reading

	// Confidence is the share of the cycles whose reading lies within two standard
	// deviations of Angle, those of the middle of the readings, so that a few far
	// away do not stretch them: 0.95 where all is normal, little where Angle lies
	// between two crowds, or where most cycles were declined.
	Confidence float64
}

// combiners in the order of CombinerNames: what each makes of the readings x, in
// the order of cycles, one or more; sorted holds the same, and scale is theirs.
var combiners = []struct {
	name     string
	estimate func(x, sorted []float64, scale float64) float64
}{
	{"mean", func(x, _ []float64, _ float64) float64 { return stat.Mean(x, nil) }},
	{"median", func(_, sorted []float64, _ float64) float64 { return median(sorted) }},
	{"exponential", func(x, _ []float64, _ float64) float64 { return exponential(x) }},
	{"mode", func(_, sorted []float64, _ float64) float64 { return mode(sorted) }},
	{"robust", func(_, sorted []float64, scale float64) float64 { return robust(sorted, scale) }},
}

// CombinerNames lists the combiners. MeanTrace, which averages before it reads,
// is a Reader.
func CombinerNames() []string {
	var names []string
	for _, c := range combiners {
		names = append(names, c.name)
	}
	return names
}

// NewCombiner returns the combiner of that name over the last cycles, 1 to 10000.
// Errors are a *model.Problem.
func NewCombiner(name string, cycles int) (Combiner, error) {
	if cycles < 1 || cycles > 10000 {
		return nil, &model.Problem{Key: "cycles", Given: fmt.Sprint(cycles), Want: "1 to 10000"}
	}
	for _, c := range combiners {
		if c.name == name {
			return &recent{estimate: c.estimate, ring: make([]float64, 0, cycles), most: cycles}, nil
		}
	}
	return nil, &model.Problem{Key: "combiner", Given: name, Want: "one of " + strings.Join(CombinerNames(), ", ")}
}

// recent holds the readings of the last cycles; NaN is one that declined.
type recent struct {
	estimate func(x, sorted []float64, scale float64) float64
	ring     []float64
	next     int // where the next one goes once the ring is full
	most     int
	x        []float64
	sorted   []float64
	room     []float64
}

// Add implements Combiner.
func (r *recent) Add(reading Reading) {
	if len(r.ring) < r.most {
		r.ring = append(r.ring, reading.Angle)
		return
	}
	r.ring[r.next] = reading.Angle
	r.next = (r.next + 1) % r.most
}

// Reset implements Combiner.
func (r *recent) Reset() { r.ring, r.next = r.ring[:0], 0 }

// Result implements Combiner.
func (r *recent) Result() Combined {
	r.x = r.x[:0]
	for i := range r.ring {
		if a := r.ring[(r.next+i)%len(r.ring)]; !math.IsNaN(a) {
			r.x = append(r.x, a)
		}
	}
	out := Combined{Angle: math.NaN(), Spread: math.NaN(), Count: len(r.x), Declined: len(r.ring) - len(r.x)}
	if out.Count == 0 {
		return out
	}
	r.sorted = append(r.sorted[:0], r.x...)
	slices.Sort(r.sorted)
	if cap(r.room) < r.most {
		r.room = make([]float64, r.most)
	}
	scale := scale(r.x, median(r.sorted), r.room)
	out.Angle = r.estimate(r.x, r.sorted, scale)
	out.Spread = stat.StdDev(r.x, nil)
	out.Modes = modes(r.sorted)
	about, near := 2*scale, 0
	for _, a := range r.x {
		if math.Abs(a-out.Angle) <= about {
			near++
		}
	}
	out.Confidence = float64(near) / float64(len(r.ring))
	return out
}

// Needed returns how many readings of standard deviation sd [rad] a mean takes to
// be right to within [rad] at 95 %: (1.96·sd/within)², rounded up, 1 or more.
func Needed(sd, within float64) int {
	const two95 = 1.96 // of the normal distribution
	z := two95 * sd / within
	return max(1, int(math.Ceil(z*z)))
}
