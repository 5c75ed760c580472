package stream

import (
	"context"
	"fmt"
	"iter"
	"math"
	"testing"
	"time"

	"phasebench/model"
)

func TestTmpErr(t *testing.T) {
	const deg = math.Pi / 180
	for _, q := range []struct{ rpm, kpa, lam, sp float64 }{{2200, 80, 1, 22}, {2000, 98, 1, 21}, {900, 32, 1, 22}, {2000, 80, 1, 5}, {2000, 80, 1, 50}, {2000, 80, 1.6, 48}, {2000, 80, 1.68, 50}, {900, 32, 1, 0}} {
		e, _ := model.Load("pump-set")
		op := e.Point
		op.Speed, op.MAP, op.Lambda, op.Spark = q.rpm*math.Pi/30, q.kpa*1e3, q.lam, q.sp*deg
		a, _ := New(e, Steadily(op), &Settings{Seed: 3})
		b, _ := New(e, Steadily(op), &Settings{Seed: 3, Exact: true})
		n := 400
		nb, stop := iter.Pull2(b.Cycles(context.Background(), 0, n))
		var wp, wl, wi, wt, wr, rl, ri, wk, wh, wc float64
		var at, atl int
		t0 := time.Now()
		for c, err := range a.Cycles(context.Background(), 0, n) {
			if err != nil {
				t.Fatal(err)
			}
			x, err, _ := nb()
			if err != nil {
				t.Fatal(err)
			}
			for k := range c.Pressure {
				if d := math.Abs(c.Pressure[k]-x.Pressure[k]) / x.Peak; d > wp {
					wp = d
					at = c.Number
				}
				if d := math.Abs(c.Temp[k]/x.Temp[k] - 1); d > wt {
					wt = d
				}
				if d := math.Abs(c.Hot[k]/x.Hot[k] - 1); d > wh {
					wh = d
				}
			}
			dl := math.Abs(c.LPP-x.LPP) / deg
			if dl > wl {
				wl, atl = dl, c.Number
			}
			di := math.Abs(c.IMEPGross/x.IMEPGross - 1)
			wi = math.Max(wi, di)
			rl += dl * dl / float64(n)
			ri += di * di / float64(n)
			wr = math.Max(wr, math.Abs(c.Residual-x.Residual))
			wk = math.Max(wk, math.Abs(c.KnockIntegral/x.KnockIntegral-1))
			if !math.IsNaN(c.CA50) {
				wc = math.Max(wc, math.Abs(c.CA50-x.CA50)/deg)
			}
			if c.Lit != x.Lit {
				fmt.Println("lit differs", c.Number)
			}
		}
		stop()
		fmt.Printf("%v p %.2g (cycle %d) T %.2g hot %.2g LPP max %.3f (%d) rms %.4f imep max %.2g rms %.2g resid %.2g knock %.2g CA50 %.3f  %v\n", q, wp, at, wt, wh, wl, atl, math.Sqrt(rl), wi, math.Sqrt(ri), wr, wk, wc, time.Since(t0))
	}
}
