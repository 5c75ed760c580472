package flame

import (
	"fmt"
	"math"
	"testing"
	"time"
)

func TestDbg(t *testing.T) {
	for _, ps := range [][]Plug{{{0, 0}}, {{.01, 0}}, {{.1, .05}}, {{.25, 0}}, {{.4, 0}}, {{.49, 0}}, {{.5, 0}}, {{.25, 0}, {-.25, 0}}, {{.15, 0}, {-.15, 0}}, {{.3, 0}, {-.1, .2}}, {{.3, 0}, {-.3, 0}, {0, .35}}, {{0, 0}, {.3, 0}, {-.3, 0}, {0, .35}}} {
		t0 := time.Now()

		fr, err := NewFronts(1, ps)
		if err != nil {
			t.Fatal(err)
		}
		d := time.Since(t0)
		fmt.Println(ps, d)
		for k, f := range fr {
			c := newCell(ps, k)
			for _, lim := range [][2]float64{{.021, .42}, {.42, 1.49}} {
				var mx [5]float64
				var at [5][3]float64
				var rms, nr float64
				for h := lim[0]; h < lim[1]; h *= 1.063 {
					rm := c.reach(h)
					for i := 1; i < 400; i++ {
						r := rm * float64(i) / 400
						q := c.direct(r, h)
						s := f.At(q.volume, h)
						e := [5]float64{s.Radius - r, s.Area - r*q.zone, s.Head - q.head, s.Piston - q.piston, s.Liner - q.liner}
						rms += e[1] * e[1]
						nr++
						for j := range e {
							if !(math.Abs(e[j]) <= mx[j]) {
								mx[j] = math.Abs(e[j])
								at[j] = [3]float64{r, h, q.volume / (c.area * h)}
							}
						}
					}
				}
				fmt.Printf(" #%d %v share %.5f marks %.4v bands %d\n   max %.1e rmsA %.1e   at %.3f\n", k, lim, f.Share, c.marks, len(f.bands), mx, math.Sqrt(rms/nr), at)
			}
		}
	}
}
func BenchmarkAt(b *testing.B) {
	fr, _ := NewFronts(.09, []Plug{{.02, 0}})
	f := fr[0]
	i := 0
	b.ReportAllocs()
	for b.Loop() {
		i++
		h := .01 + .01*float64(i%7)
		f.At(h*math.Pi/4*.0081*float64(i%97)/97, h)
	}
}
