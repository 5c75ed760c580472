package sweep

import (
	"context"
	"fmt"
	"math"
	"testing"
	"time"
	"phasebench/model"
)

func TestProbe(t *testing.T) {
	s, op := bench(t, nil)
	for _, T := range []float64{0, 5, 15, 28} {
		for _, rpm := range []float64{1500, 2200, 3600} {
		op.Speed = rpm * math.Pi / 30
		t0 := time.Now()
		least, err := HoldTorqueMBT(context.Background(), s, op, T)
		fmt.Println(T, rpm, err, least.Operating.Spark/deg, least.Operating.MAP, least.Airflow*1e3, least.Torque, time.Since(t0))
		o := op
		o.MAP = least.Operating.MAP
		m, err := MBT(context.Background(), s, o)
		fmt.Println("   MBT", m.Operating.Spark/deg, err)
		ps, err := HoldTorque(context.Background(), s, op, T, []float64{least.Operating.Spark - 10*deg, least.Operating.Spark, least.Operating.Spark+10*deg, -20*deg})
		for _, p := range ps {
			fmt.Println("   ", p.Operating.Spark/deg, p.Operating.MAP, p.Airflow*1e3/ (least.Airflow*1e3), p.Torque-T, p.Missing)
		}
		}
	}
	s, op = bench(t, nil)
	for _, k := range []float64{30, 60, 80, 100} {
		op.MAP = k * 1e3
		t0 := time.Now()
		l, err := KnockLimit(context.Background(), s, op)
		fmt.Println(k, l.Kind, l.Operating.Spark/deg, 1-l.KnockIntegral, err, time.Since(t0))
	}
	e, _ := model.Load("pump-set")
	pl := &Plan{LPP: 15 * deg, CA50: 8 * deg, Workers: 2}
	for _, r := range []float64{1200, 1800, 2400, 3000, 3600} {
		pl.Speeds = append(pl.Speeds, r*math.Pi/30)
	}
	for _, r := range []float64{25, 43.75, 62.5, 81.25, 100} {
		pl.MAPs = append(pl.MAPs, r*1e3)
	}
	t0 := time.Now()
	g, err := Map(context.Background(), e, e.Point, pl)
	fmt.Println(err, time.Since(t0))
	for i := range g.Nodes {
		n := &g.Nodes[i]
		fmt.Printf("%5.0f %5.1f ", n.Speed*30/math.Pi, n.MAP/1e3)
		for _, q := range Quantities() {
			fmt.Printf(" %s %.3f", q, q.Value(n))
		}
		fmt.Println(n.Err, n.Knock.Kind, n.HeldLPP.Missing, n.HeldCA50.Missing, n.MBT.Residual)
	}
}
