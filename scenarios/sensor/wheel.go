package sensor

import (
	"math"
	"slices"

	"phasebench/scenarios/stream"
)

// Wheel is a tooth wheel on the crankshaft with a gap: n-m has n equal pitches and
// the last m teeth of them missing. First is where the encoder takes the first
// tooth after the gap to rise.
type Wheel struct {
	Teeth   int     // n, pitches of one turn, 4 to 720
	Missing int     // m, at least 1, at most n − 2
	First   float64 // angle of the first tooth after the gap [rad]
	Jitter  float64 // rms of each edge [rad]
	Lost    int     // teeth of each cycle that are not seen
	Extra   int     // edges of each cycle that no tooth made
	Dead    bool    // it reads nothing
}

// UsualWheel returns a 36-1 wheel whose first tooth rises 90 deg before dead
// centre (our own choice).
func UsualWheel() *Wheel {
	return &Wheel{Teeth: 36, Missing: 1, First: -90 * deg, Jitter: 0.02 * deg}
}

func (w *Wheel) check() error {
	return within(
		quantity{"wheel.teeth", float64(w.Teeth), 1, 4, 720},
		quantity{"wheel.missing", float64(w.Missing), 1, 1, float64(w.Teeth - 2)},
		quantity{"wheel.first_deg_atdc", w.First, deg, -360, 360},
		quantity{"wheel.jitter_deg", w.Jitter, deg, 0, 2},
		quantity{"wheel.lost", float64(w.Lost), 1, 0, float64(w.Teeth)},
		quantity{"wheel.extra", float64(w.Extra), 1, 0, float64(w.Teeth)},
	)
}

// pitch is from one tooth to the next [rad].
func (w *Wheel) pitch() float64 { return 2 * math.Pi / float64(w.Teeth) }

// teeth is the state of a Wheel.
type teeth struct {
	edges []float64 // true angles of the rising edges of the cycle, ascending [rad]
	last  float64   // of the cycle before, less its period; NaN: none
}

func (t *teeth) reset() { t.last, t.edges = math.NaN(), t.edges[:0] }

// turn places the edges of c.
func (t *teeth) turn(r *Rig, c *stream.Cycle) {
	w, s := &r.now.wheel, &r.strokes
	if n := len(t.edges); n > 0 {
		t.last = t.edges[n-1] - s.Period()
	}
	t.edges = t.edges[:0]
	if w.Dead {
		t.last = math.NaN()
		return
	}
	z := r.random.of(c.Number, stream.Toothing)
	pitch, first := w.pitch(), w.First-r.now.offset
	// Each edge counts in one cycle, once: that where it would be without jitter. The edge
	// where one cycle ends and the next begins must not jitter from one to the other, or it
	// would be seen twice or never.
	inside := func(theta, jitter float64) float64 {
		at := s.Start + math.Mod(math.Mod(theta-s.Start, s.Period())+s.Period(), s.Period())
		return math.Min(math.Max(at+jitter, s.Start), math.Nextafter(s.End, s.Start))
	}
	for turn := range int(math.Round(s.Period() / (2 * math.Pi))) {
		for k := range w.Teeth - w.Missing {
			at := first + 2*math.Pi*float64(turn) + pitch*float64(k)
			t.edges = append(t.edges, inside(at, w.Jitter*z.NormFloat64()))
		}
	}
	for range min(w.Lost, len(t.edges)) {
		k := z.IntN(len(t.edges))
		t.edges[k] = t.edges[len(t.edges)-1]
		t.edges = t.edges[:len(t.edges)-1]
	}
	for range w.Extra {
		t.edges = append(t.edges, s.Start+s.Period()*z.Float64())
	}
	slices.Sort(t.edges)
}

// highVolts is the output of wheel and cam on a tooth [V]; between teeth it is 0.
const highVolts = 5

// wheelEdges fills the channel of edges.
func (r *Rig) wheelEdges(c *stream.Cycle, dst []float32) []float32 {
	for _, theta := range r.teeth.edges {
		dst = append(dst, float32(c.Clock.Time(theta)/usec))
	}
	return dst
}

// wheelWave fills the channel of the waveform: high for half a pitch from each edge.
func (r *Rig) wheelWave(_ *stream.Cycle, dst []float32) []float32 {
	edges, half := r.teeth.edges, r.now.wheel.pitch()/2
	last, k := r.teeth.last, 0
	for _, theta := range r.grid.theta {
		for k < len(edges) && edges[k] <= theta {
			last = edges[k]
			k++
		}
		v := float32(0)
		if theta-last < half { // not with NaN
			v = highVolts
		}
		dst = append(dst, v)
	}
	return dst
}

// The cam signal rises once a cycle, before firing dead centre. Our own choice.
const (
	camRise = -60 * deg
	camFall = -20 * deg
)

// camEdge fills the channel of the cam's edge.
func (r *Rig) camEdge(c *stream.Cycle, dst []float32) []float32 {
	if r.now.camDead {
		return dst
	}
	return append(dst, float32(c.Clock.Time(camRise)/usec))
}

// camWave fills the channel of the cam's waveform.
func (r *Rig) camWave(_ *stream.Cycle, dst []float32) []float32 {
	for _, theta := range r.grid.theta {
		v := float32(0)
		if theta >= camRise && theta < camFall && !r.now.camDead {
			v = highVolts
		}
		dst = append(dst, v)
	}
	return dst
}
