package reader

import (
	"math"
	"sort"

	"phasebench/model/chamber"
)

// motored continues a compression that has been seen: p·V^n stays what it was
// before the spark, so that the pressure without combustion falls after dead
// centre as it rose before.
type motored struct {
	chamber  chamber.Chamber
	exponent float64
	work     []float64 // V^−n at the angles of the samples, V in that at dead centre
	volume   []float64 // V [m³] there
	slope    []float64 // dV/dθ there [m³/rad]
	first    float64   // angle of the first sample that those are of
	last     float64
}

// looked is how far before the spark the compression is looked at. Our own choice.
const looked = 30 * deg

// lay makes the volumes of in ready, and returns p·V^n before the spark in the
// unit of p; NaN without samples there.
func (m *motored) lay(in *Input) float64 {
	n := len(in.Theta)
	if len(m.work) != n || m.first != in.Theta[0] || m.last != in.Theta[n-1] {
		m.work, m.volume, m.slope = make([]float64, n), make([]float64, n), make([]float64, n)
		m.first, m.last = in.Theta[0], in.Theta[n-1]
		least, _ := m.chamber.Volume(0)
		for i, theta := range in.Theta {
			m.volume[i], m.slope[i] = m.chamber.Volume(theta)
			m.work[i] = math.Pow(m.volume[i]/least, -m.exponent)
		}
	}
	lo, hi := sort.SearchFloat64s(in.Theta, -in.Spark-looked), sort.SearchFloat64s(in.Theta, -in.Spark)
	sum := 0.
	for i := lo; i < hi; i++ {
		sum += in.Values[i] / m.work[i]
	}
	return sum / float64(hi-lo)
}
