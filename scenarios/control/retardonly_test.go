package control

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// orders is a law that orders what it is told to, and keeps what it saw.
type orders struct {
	want  Order
	saw   Order
	reset int
}

func (l *orders) Next(s *Seen) Order { l.saw = s.Ordered; return l.want }
func (l *orders) Reset()             { l.reset++ }

// Orders pass up to the base map; the trailing plug keeps its distance. Worked by
// hand; rounding.
func TestRetardOnly(t *testing.T) {
	in := &orders{}
	law := RetardOnly(in)
	s := Seen{Base: 20 * deg, Ordered: together(18 * deg)}
	for _, c := range []struct{ want, trailing, pass, passTrailing float64 }{
		{19, 12, 19, 12}, {20, 12, 20, 12}, {24, 12, 20, 8}, {-30, -40, -30, -40},
	} {
		in.want = Order{c.want * deg, c.trailing * deg}
		got := law.Next(&s)
		require.InDelta(t, c.pass, got.Leading/deg, 1e-12)
		require.InDelta(t, c.passTrailing, got.Trailing/deg, 1e-12)
		require.Equal(t, s.Ordered.Leading, in.saw.Leading, "the law goes on from what passed")
	}
	s.Base, in.want = math.NaN(), together(24*deg)
	require.Equal(t, 18*deg, law.Next(&s).Leading, "without a base no advance")
	law.Reset()
	require.Equal(t, 1, in.reset)
}
