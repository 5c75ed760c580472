package stream

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"

	"phasebench/model"
)

func TestTmp(t *testing.T) {
	const deg = math.Pi / 180
	for _, q := range []struct{ rpm, kpa, lam, sp float64 }{{2200, 80, 1, 25}, {2000, 98, 1, 23}, {900, 30, 1, 23}, {900,30,1,10},{2000, 60, 1, 26}, {2000, 80, 1.7, 60}, {2000,80,1.74,60}, {1500,40,1.55,60},{1500,40,1.62,60},{1200,35,1.55,55}} {
		e, _ := model.Load("pump-set")
		op := e.Point
		op.Speed, op.MAP, op.Lambda, op.Spark = q.rpm*math.Pi/30, q.kpa*1e3, q.lam, q.sp*deg
		s, err := New(e, Steadily(op), &Settings{Seed: 3})
		if err != nil {
			t.Fatal(err)
		}
		for pass := range 2 {
			var imep, lpp, ca10, res []float64
			mis, part, kn := 0, 0, 0
			t0 := time.Now()
			n := 1000
			var mbt float64
			for c, err := range s.Cycles(context.Background(), 0, n) {
				if err != nil {
					t.Fatal(err)
				}
				imep = append(imep, c.IMEPGross/1e5)
				lpp = append(lpp, c.LPP/deg)
				res = append(res, c.Residual)
				mbt = c.MBT / deg
				if c.Lit {
					ca10 = append(ca10, c.CA10/deg)
				}
				if c.Misfire {
					mis++
				}
				if c.PartialBurn {
					part++
				}
				if c.Knocking {
					kn++
				}
			}
			dt := time.Since(t0)
			m, sd := stat.MeanStdDev(imep, nil)
			l, ls := stat.MeanStdDev(lpp, nil)
			c, cs := stat.MeanStdDev(ca10, nil)
			lag := stat.Correlation(imep[:n-1], imep[1:], nil)
			p := s.points
			nodes, grads := 0, 0
			for _, x := range p {
				nodes += len(x.surface.nodes)
				for _, y := range x.surface.nodes {
					if y.known {
						grads++
					}
				}
			}
			fmt.Printf("%v pass %d: %v/cycle imep %.3f COV %.2f%% skew %.2f LPP %.2f sd %.2f skew %.2f CA10 %.2f sd %.2f lag %.3f mis %d part %d knock %d res %.3f mbt %.1f nodes %d grads %d\n", q, pass, dt/time.Duration(n), m, 100*sd/m, stat.Skew(imep, nil), l, ls, stat.Skew(lpp, nil), c, cs, lag, mis, part, kn, stat.Mean(res, nil), mbt, nodes, grads)
		}
	}
}
