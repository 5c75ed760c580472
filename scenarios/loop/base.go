package loop

import (
	"context"
	"errors"
	"fmt"

	"phasebench/scenarios/control"
	"phasebench/scenarios/sweep"
	"phasebench/solve"
)

// baseMap finds the sparks of the base map: MBT at every speed and load of the
// scenario, less its retard, in dry air and with the walls and fuel of the engine
// file. Where there is no MBT it is the spark that the scenario begins with.
func (s *Scenario) baseMap(ctx context.Context) (*control.Table, error) {
	t := &control.Table{}
	t.Speeds, t.MAPs = s.places()
	solver, err := solve.New(s.Engine, nil)
	if err != nil {
		return nil, err
	}
	op := s.Legs[0].Operating
	op.Humidity, op.WallShift, op.OctaneShift = 0, 0, 0
	for _, op.Speed = range t.Speeds {
		var row []float64
		for _, op.MAP = range t.MAPs {
			best, err := sweep.MBT(ctx, solver, op)
			switch {
			case errors.Is(err, sweep.ErrNoMBT):
				row = append(row, s.Legs[0].Operating.Spark)
			case err != nil:
				return nil, fmt.Errorf("base map at %.4g rpm and %.4g kPa: %w", op.Speed/rpm, op.MAP/1e3, err)
			default:
				row = append(row, best.Operating.Spark-s.Base.Retard)
			}
		}
		t.Spark = append(t.Spark, row)
	}
	return t, nil
}
