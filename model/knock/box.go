package knock

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// mostBox bounds the work of BoxModes.
const mostBox = 100

// BoxModes returns the count lowest modes, 1 to 100, in ascending order, of a flat
// box of length and width [m], > 0, in gas with sound speed sound [m/s], > 0: standing
// waves between rigid walls, as in any textbook of acoustics,
//
//	f = c/2 · √((m/length)² + (n/width)²)
//
// with m nodes along the length and n along the width, as Circumferential and Radial;
// their Zero is 0. The chamber of a rotary engine at dead centre is taken for such a
// box, as long as the chord of a flank and as wide as the rotor; its waist in the
// middle is not seen (our own choice). Errors wrap ErrRange.
func BoxModes(length, width, sound float64, count int) ([]Mode, error) {
	for _, v := range []struct {
		name  string
		value float64
	}{{"length", length}, {"width", width}, {"sound", sound}} {
		if !(v.value > 0) || !finite(v.value) {
			return nil, fmt.Errorf("knock: BoxModes: %s = %g, want > 0: %w", v.name, v.value, ErrRange)
		}
	}
	if count < 1 || count > mostBox {
		return nil, fmt.Errorf("knock: BoxModes: count = %d, want 1 to %d: %w", count, mostBox, ErrRange)
	}
	var modes []Mode
	for m := range count + 1 { // none of the lowest count has more nodes either way
		for n := range count + 1 {
			if m+n > 0 {
				modes = append(modes, Mode{Circumferential: m, Radial: n, Frequency: sound / 2 * math.Hypot(float64(m)/length, float64(n)/width)})
			}
		}
	}
	slices.SortStableFunc(modes, func(a, b Mode) int { return cmp.Compare(a.Frequency, b.Frequency) })
	return modes[:count], nil
}
