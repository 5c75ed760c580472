package valve

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

var (
	_ Opening = (*Valve)(nil)
	_ Opening = (*Port)(nil)
)

// turns3 is the cycle of a rotary engine [rad].
const turns3 = 6 * math.Pi

// peripheral is an inlet port of our own, open for 430 degrees over an end of
// the cycle.
func peripheral() Slot {
	return Slot{Open: -590 * deg, Close: -160 * deg, Uncover: 60 * deg, Cover: 80 * deg, Area: 8e-4, Flow: 0.7}
}

func port(t testing.TB, s Slot) *Port {
	p, err := NewPort(s, turns3)
	require.NoError(t, err)
	return p
}

// By hand: 3/4 − 1/4 = 1/2 halfway, 3/16 − 2/64 = 5/32 after a quarter; the same
// a cycle later. 1e-13 of the full area.
func TestPortByHand(t *testing.T) {
	p := port(t, peripheral())
	full := 0.7 * 8e-4
	for _, x := range []struct{ deg, want float64 }{
		{-590, 0}, {-575, 5. / 32}, {-560, 0.5}, {-530, 1}, {-400, 1}, {-240, 1}, {-200, 0.5}, {-180, 5. / 32}, {-160, 0}, {0, 0}, {400, 0}, {489, 0},
		{520, 0.5}, {520 + 1080, 0.5}, {-560 - 1080, 0.5},
	} {
		require.InDelta(t, x.want*full, p.Area(x.deg*deg), 1e-13*full, "at %g deg", x.deg)
	}
	require.Equal(t, []float64{-590 * deg, -160 * deg}, []float64{p.Opens(), p.Closes()})
}

// Area and slope are continuous all round: over a step of 0.01 deg neither
// changes by more than its greatest derivative, 1.5/Uncover and 6/Uncover².
func TestPortSmooth(t *testing.T) {
	p := port(t, peripheral())
	full, u := 0.7*8e-4, 60*deg
	const h = 0.01 * deg
	for theta := -600 * deg; theta < -150*deg; theta += h {
		a, b, c := p.Area(theta-h), p.Area(theta), p.Area(theta+h)
		require.LessOrEqual(t, math.Abs(c-b), 1.5*full*h/u*1.001)
		require.LessOrEqual(t, math.Abs(c-2*b+a), 6*full*(h/u)*(h/u)*1.001)
	}
}

// The part of a round hole that a straight edge has passed, by hand from the
// segment of a circle; Port says within 0.05.
func TestPortLikeRoundHole(t *testing.T) {
	p := port(t, peripheral())
	worst := 0.
	for u := 0.; u <= 1; u += 0.001 {
		hole := (math.Acos(1-2*u) - (1-2*u)*2*math.Sqrt(u-u*u)) / math.Pi
		worst = math.Max(worst, math.Abs(p.Area((-590+60*u)*deg)/(0.7*8e-4)-hole))
	}
	require.True(t, worst > 0.03 && worst < 0.05, "%g", worst)
}

// Opening and closing may meet.
func TestPortMayJustOpen(t *testing.T) {
	s := peripheral()
	s.Uncover, s.Cover = 200*deg, 230*deg
	p := port(t, s)
	require.InEpsilon(t, 0.7*8e-4, p.Area(-390*deg), 1e-13)
	require.Zero(t, testing.AllocsPerRun(100, func() { sink = p.Area(-300 * deg) }))
}

func TestPortRefuses(t *testing.T) {
	nan := math.NaN()
	for want, change := range map[string]func(*Slot){
		"Slot.Uncover = 0, want > 0":   func(s *Slot) { s.Uncover = 0 },
		"Slot.Uncover = NaN":           func(s *Slot) { s.Uncover = nan },
		"Slot.Cover = -1":              func(s *Slot) { s.Cover = -1 },
		"Slot.Cover = 7, want > 0 and": func(s *Slot) { s.Cover = 7 },
		"Slot.Cover = NaN":             func(s *Slot) { s.Cover = nan },
		"Slot.Area = 0, want > 0 m²":   func(s *Slot) { s.Area = 0 },
		"Slot.Area = NaN":              func(s *Slot) { s.Area = nan },
		"Slot.Flow = 1.2":              func(s *Slot) { s.Flow = 1.2 },
		"Slot.Flow = NaN":              func(s *Slot) { s.Flow = nan },
	} {
		s := peripheral()
		change(&s)
		_, err := NewPort(s, turns3)
		require.ErrorIs(t, err, ErrPort)
		require.ErrorContains(t, err, want)
	}
	s := peripheral()
	s.Close = s.Open + 7*math.Pi
	_, err := NewPort(s, turns3)
	require.ErrorIs(t, err, ErrLift)
	require.ErrorContains(t, err, "duration")
}
