package solve

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"phasebench/model/accuracy"
	"phasebench/model/chamber"
	"phasebench/solve/ode"
)

// sealedPeer is the sealed cycle of testdata/peers, which has it in Python and C too: one
// zone whose γ is a polynomial of temperature, Wiebe, Woschni. The state is pressure and
// work.
type sealedPeer struct {
	crank                          *chamber.SliderCrank
	mass, start                    float64 // [kg], volume at the start [m³]
	heat, speed, swirl, film, ends float64
	omega                          float64
	fired                          bool
}

const (
	peerFrom, peerTo    = -140 * math.Pi / 180, 130 * math.Pi / 180
	peerSpark, peerSpan = -20 * math.Pi / 180, 55 * math.Pi / 180
	peerP, peerT        = 0.6e5, 350.
	peerR, peerBore     = 287., 0.086
	peerPoints          = 541
)

func newSealedPeer(t testing.TB) *sealedPeer {
	c, err := chamber.NewSliderCrank(chamber.Crank{Bore: peerBore, Stroke: 0.086, Rod: 0.1435, Ratio: 10.5})
	require.NoError(t, err)
	s := &sealedPeer{crank: c, omega: 2000 * 2 * math.Pi / 60}
	s.start, _ = c.Volume(peerFrom)
	s.mass = peerP * s.start / (peerR * peerT)
	s.heat = s.mass / 15.6 * 44e6 * 0.95
	s.speed = c.MeanSpeed(s.omega)
	s.swirl = 3.24e-3 * c.Swept() * peerT / (peerP * s.start)
	s.film = 3.26 * math.Pow(peerBore, -0.2)
	s.ends = math.Pi * peerBore * peerBore / 2
	return s
}

// Segment implements ode.Segmenter.
func (s *sealedPeer) Segment(from, _ float64) { s.fired = from >= peerSpark }

// Derive implements ode.System.
func (s *sealedPeer) Derive(dst []float64, theta float64, y []float64) {
	p := y[0]
	v, dv := s.crank.Volume(theta)
	t := p * v / (s.mass * peerR)
	gamma := 1.338 + t*(-6e-5+1e-8*t)
	burn, wave := 0., 2.28*s.speed
	if s.fired {
		z := (theta - peerSpark) / peerSpan
		burn = s.heat * 6.908 * 3 * z * z * math.Exp(-6.908*z*z*z) / peerSpan
		wave += s.swirl * (p - peerP*math.Pow(s.start/v, 1.33))
	}
	// p^0.8 · T^−0.55 · w^0.8 in one logarithm each way.
	h := s.film * math.Exp(0.8*math.Log(p/1e3*wave)-0.55*math.Log(t))
	heat := burn - h*(s.ends+4*v/peerBore)*(t-450)/s.omega
	dst[0] = (gamma-1)/v*heat - gamma*p/v*dv
	dst[1] = p * dv
}

// peerReference is the pressure of SciPy's DOP853 at 1e-13.
func peerReference(t testing.TB) []float64 {
	f, err := os.Open("../testdata/peers/reference.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	var p []float64
	for _, row := range rows[1:] {
		v, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		p = append(p, v)
	}
	require.Len(t, p, peerPoints)
	return p
}

// peerRun integrates the cycle again and again into the same rows.
type peerRun struct {
	sys     *sealedPeer
	solver  *ode.Solver
	sampler *ode.Sampler
	rows    [][]float64
	y       [2]float64
	run     ode.Run
}

func newPeerRun(t testing.TB, rtol float64) *peerRun {
	r := &peerRun{sys: newSealedPeer(t), solver: ode.New(2, &ode.Settings{RelTol: rtol, AbsTol: []float64{rtol * 1e5, rtol * 100}})}
	xs := make([]float64, peerPoints)
	for i := range xs {
		xs[i] = peerFrom + (peerTo-peerFrom)*float64(i)/(peerPoints-1)
		r.rows = append(r.rows, make([]float64, 2))
	}
	xs[peerPoints-1] = peerTo
	var err error
	r.sampler, err = ode.NewSampler(xs, r.rows)
	require.NoError(t, err)
	r.run = ode.Run{Breaks: []float64{peerSpark}, OnStep: r.sampler.Observe}
	return r
}

func (r *peerRun) cycle() (ode.Result, error) {
	r.y = [2]float64{peerP, 0}
	r.sampler.Reset()
	return r.solver.Integrate(r.sys, peerFrom, peerTo, r.y[:], &r.run)
}

func (r *peerRun) worst(reference []float64) float64 {
	most := 0.
	for i, row := range r.rows {
		most = math.Max(most, math.Abs(row[0]/reference[i]-1))
	}
	return most
}

// The sealed cycle of the peers: pressure against SciPy's DOP853 at 1e-13, and the work
// and greatest pressure that were worked out apart: 311.9599 J, near 35.51 bar.
func TestSealedPeer(t *testing.T) {
	r := newPeerRun(t, 1e-11)
	_, err := r.cycle()
	require.NoError(t, err)
	accuracy.Find(t, "peer-pressure").Hold(t, r.worst(peerReference(t)), "worst")
	accuracy.Find(t, "peer-work").Near(t, 311.9599, r.y[1], "work")
	most := 0.
	for _, row := range r.rows {
		most = math.Max(most, row[0])
	}
	accuracy.Find(t, "peer-peak").Near(t, 35.51, most/1e5, "peak")
	require.Zero(t, testing.AllocsPerRun(3, func() {
		if _, err := r.cycle(); err != nil {
			t.Fatal(err)
		}
	}))
}

// BenchmarkSealedPeer is what testdata/peers/run.sh lays beside SciPy and C.
func BenchmarkSealedPeer(b *testing.B) {
	reference := peerReference(b)
	for _, rtol := range []float64{1e-3, 1e-4, 1e-5, 1e-6, 1e-7, 1e-8} {
		b.Run(strconv.FormatFloat(rtol, 'g', -1, 64), func(b *testing.B) {
			r := newPeerRun(b, rtol)
			var res ode.Result
			var err error
			for b.Loop() {
				if res, err = r.cycle(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(r.worst(reference), "error")
			b.ReportMetric(float64(res.Evaluations), "evaluations")
		})
	}
}
