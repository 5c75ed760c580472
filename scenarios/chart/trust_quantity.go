package chart

import "phasebench/scenarios/trust"

// TrustQuantity is a number that every cell of a trust.Map has.
type TrustQuantity int

// The quantities that Trust can draw.
const (
	TrustWrong    TrustQuantity = iota // share of readings on the wrong side [%]
	TrustBias                          // mean of reading less truth [deg]
	TrustError                         // rms of reading less truth [deg]
	TrustDeclined                      // share of cycles without a reading [%]
	TrustSD                            // standard deviation of the readings [deg]
)

var trustQuantities = [...]struct {
	name, title, unit string
	levels            []tick // nil: chosen by the values
	value             func(*trust.Cell) float64
}{
	{"wrong", "readings on the wrong side", "%", shares, func(c *trust.Cell) float64 { return 100 * c.Wrong }},
	{"bias", "mean of reading less truth", "deg", nil, func(c *trust.Cell) float64 { return c.Bias / deg }},
	{"error", "rms of reading less truth", "deg", nil, func(c *trust.Cell) float64 { return c.Error / deg }},
	{"declined", "cycles without a reading", "%", shares, func(c *trust.Cell) float64 { return 100 * c.Declined }},
	{"sd", "standard deviation of the readings", "deg", nil, func(c *trust.Cell) float64 { return c.SD / deg }},
}

// shares are the levels [%] of every share, so that pictures compare: a flip
// begins with 5 on the wrong side, a loop can do without 50 (our own choice).
var shares = []tick{{5, "5"}, {20, "20"}, {50, "50"}, {80, "80"}}

// TrustQuantities lists all of them.
func TrustQuantities() []TrustQuantity {
	all := make([]TrustQuantity, len(trustQuantities))
	for i := range all {
		all[i] = TrustQuantity(i)
	}
	return all
}

// TrustQuantityByName finds a TrustQuantity by its String.
func TrustQuantityByName(name string) (TrustQuantity, bool) {
	for i := range trustQuantities {
		if trustQuantities[i].name == name {
			return TrustQuantity(i), true
		}
	}
	return 0, false
}

// String is a short name, such as "wrong".
func (q TrustQuantity) String() string { return trustQuantities[q].name }

// Title says what q is.
func (q TrustQuantity) Title() string { return trustQuantities[q].title }

// Unit of the values of q.
func (q TrustQuantity) Unit() string { return trustQuantities[q].unit }

// Value of q in a cell, in Unit; NaN where the cell has none.
func (q TrustQuantity) Value(c *trust.Cell) float64 { return trustQuantities[q].value(c) }

// levels between the tints, for values from lo to hi; none where they are all equal.
func (q TrustQuantity) levels(lo, hi float64) (out []tick) {
	if all := trustQuantities[q].levels; all != nil {
		return all
	}
	if !(lo < hi) {
		return nil
	}
	for _, t := range ticks(lo, hi, step(lo, hi, 6, false)) {
		if t.at > lo && t.at < hi {
			out = append(out, t)
		}
	}
	return out
}
