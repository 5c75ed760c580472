package measured

import (
	"fmt"
	"math"
	"slices"
)

// turn is one turn of the wheel: its edges from one reference to the next.
type turn struct {
	times  []float64 // of its edges; the reference of the next turn ends it
	end    float64   // [s]
	broken string    // why its angles are not known
}

// decoder makes turns of edges.
type decoder struct {
	wheel  Wheel
	held   []float64   // edges that belong to no turn yet
	begun  bool        // held[0] is a reference
	whole  bool        // the last turn was
	took   float64     // it took [s]
	count  map[int]int // of turns by their edges
	before []float64   // edges before the first reference
}

func newDecoder(w Wheel) *decoder { return &decoder{wheel: w, count: map[int]int{}} }

// Limits between what is one pitch and what is not, as ratios of neighbouring times. A
// shaft under compression changes its speed by a tenth from tooth to tooth at most. Our
// own choice.
const (
	longer  = 1.45 // a gap is longer than a pitch by more
	shorter = 0.70 // half a pitch is shorter by more
)

// ahead is how many edges after one are needed to know it.
const ahead = 4

// next takes an edge; where it completes a turn, that is returned.
func (d *decoder) next(t float64) (turn, bool) {
	d.held = append(d.held, t)
	n := len(d.held)
	if d.wheel.teeth() == 1 {
		return d.cut(n - 1)
	}
	if n < 2*ahead+1 {
		return turn{}, false
	}
	if at := n - 1 - ahead; d.reference(at) {
		return d.cut(at)
	}
	// Two turns without a reference: it was not seen.
	if n > 3*d.wheel.edges()+2*ahead {
		return d.lose(n - 1 - 2*ahead)
	}
	return turn{}, false
}

// reference tells whether held[at] is the reference edge.
func (d *decoder) reference(at int) bool {
	gap := func(i int) float64 { return d.held[i+1] - d.held[i] }
	around := []float64{gap(at - 4), gap(at - 3), gap(at - 2), gap(at + 2), gap(at + 3)}
	if d.wheel.Doubled { // at, the doubled edge, the next
		around = []float64{gap(at - 3), gap(at - 2), gap(at - 1), gap(at + 2), gap(at + 3)}
		slices.Sort(around)
		pitch := around[len(around)/2]
		a, b := gap(at)/pitch, gap(at+1)/pitch
		return a < shorter && b < shorter && math.Abs(a+b-1) < 1-shorter
	}
	slices.Sort(around)
	pitch := around[len(around)/2]
	pitches := gap(at-1) / pitch
	want := float64(d.wheel.Missing + 1)
	return pitches > longer && math.Abs(pitches/want-1) < 0.35 && gap(at)/pitch < longer
}

// cut ends a turn at held[at], a reference, and begins the next there.
func (d *decoder) cut(at int) (turn, bool) {
	if !d.begun {
		d.begun = true
		d.before = slices.Clone(d.held[:at])
		d.held = slices.Delete(d.held, 0, at)
		return turn{}, false
	}
	return d.close(at, "")
}

func (d *decoder) close(at int, broken string) (turn, bool) {
	t := turn{times: slices.Clone(d.held[:at]), end: d.held[at], broken: broken}
	took := t.end - t.times[0]
	want := d.wheel.edges()
	d.count[at]++
	switch {
	case broken != "":
	case at != want:
		t.broken = fmt.Sprintf("%d edges from reference to reference, the wheel %s has %d", at, &d.wheel, want)
	case d.whole && !(took < d.took*longer && took > d.took/longer):
		t.broken = fmt.Sprintf("a turn took %.4g s, the one before %.4g s", took, d.took)
	}
	d.whole, d.took = t.broken == "", took
	d.held = slices.Delete(d.held, 0, at)
	return t, true
}

// lose gives up on a turn whose end was not seen.
func (d *decoder) lose(at int) (turn, bool) {
	if !d.begun {
		d.held = slices.Delete(d.held, 0, at)
		return turn{}, false
	}
	t, ok := d.close(at, "no reference for three turns")
	d.begun = false
	return t, ok
}

// part gives edges of a turn that is not whole their angles after its reference [rad]: the
// first of a turn, or the last. nil where they are not spaced as the wheel is.
func (w *Wheel) part(times []float64, last bool) []float64 {
	first := 0
	if last {
		first = w.edges() - len(times)
	}
	if first < 0 || len(times) < 3 || first+len(times) > w.edges() {
		return nil
	}
	angles := make([]float64, len(times))
	for i := range times {
		angles[i] = w.edge(first + i)
	}
	for i := 2; i < len(times); i++ {
		a, b := (times[i]-times[i-1])/(angles[i]-angles[i-1]), (times[i-1]-times[i-2])/(angles[i-1]-angles[i-2])
		if !(a < longer*b && b < longer*a) {
			return nil
		}
	}
	return angles
}

// gap forgets what was before a gap in time.
func (d *decoder) gap() {
	d.held, d.before, d.begun, d.whole = d.held[:0], nil, false, false
}
