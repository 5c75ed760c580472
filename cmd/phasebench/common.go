package main

import (
	"fmt"
	"math"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
)

// common holds the flags of every command that runs an engine.
type common struct {
	engine                    string
	speed, mapKPa, lam, spark float64
	seed                      uint64
	plot                      string
	json                      bool
}

func (c *common) register(f *pflag.FlagSet) {
	f.StringVar(&c.engine, "engine", model.Default, "embedded engine, or a file ending in .toml")
	f.Float64Var(&c.speed, "speed-rpm", 0, "shaft speed [rpm] (default: the engine's own point)")
	f.Float64Var(&c.mapKPa, "map-kpa", 0, "manifold absolute pressure [kPa] (default: the engine's own point)")
	f.Float64Var(&c.lam, "lambda", 0, "relative air-fuel ratio (default: the engine's own point)")
	f.Float64Var(&c.spark, "spark-deg", 0, "spark advance [deg before dead centre] (default: the engine's own point)")
	f.Uint64Var(&c.seed, "seed", 1, "recorded in every output; nothing here is drawn at random yet")
	f.StringVar(&c.plot, "plot", "", "write a picture to this `FILE`: .svg, .png or .pdf")
	f.BoolVar(&c.json, "json", false, "print one JSON document")
}

// complete offers the embedded engines to the shell.
func (c *common) complete(cmd *cobra.Command) {
	_ = cmd.RegisterFlagCompletionFunc("engine", cobra.FixedCompletions(model.Names(), cobra.ShellCompDirectiveDefault))
}

// load returns the engine with its point replaced by what the flags say.
func (c *common) load(f *pflag.FlagSet) (*model.Engine, error) {
	e, err := model.Load(c.engine)
	if err != nil {
		return nil, err
	}
	for _, x := range []struct {
		flag  string
		value float64
		unit  float64
		at    *float64
	}{
		{"speed-rpm", c.speed, 2 * math.Pi / 60, &e.Point.Speed},
		{"map-kpa", c.mapKPa, 1e3, &e.Point.MAP},
		{"lambda", c.lam, 1, &e.Point.Lambda},
		{"spark-deg", c.spark, math.Pi / 180, &e.Point.Spark},
	} {
		if f.Changed(x.flag) {
			*x.at = x.value * x.unit
		}
	}
	return e, e.Point.Check(e)
}

// place describes where e runs, for titles.
func place(e *model.Engine) string {
	p := &e.Point
	return fmt.Sprintf("%s, %.4g rpm, MAP %.4g kPa, lambda %.3g", e.Name, p.Speed*60/(2*math.Pi), p.MAP/1e3, p.Lambda)
}
