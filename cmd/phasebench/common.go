package main

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
)

// common holds the flags of every command that runs an engine.
type common struct {
	engine                    string
	speed, mapKPa, lam, spark float64
	split                     float64
	seed                      uint64
	plot                      string
	json                      bool
}

func (c *common) register(f *pflag.FlagSet) {
	f.StringVar(&c.engine, "engine", model.Default, "embedded engine, or a file ending in .toml")
	optional(f, &c.speed, "speed-rpm", "shaft speed [rpm] (default: the engine's own point)")
	optional(f, &c.mapKPa, "map-kpa", "manifold absolute pressure [kPa] (default: the engine's own point)")
	optional(f, &c.lam, "lambda", "relative air-fuel ratio (default: the engine's own point)")
	optional(f, &c.spark, "spark-deg", "spark advance [deg before dead centre] (default: the engine's own point)")
	optional(f, &c.split, "trailing-split-deg", "the trailing plug of an engine with two fires so much later [deg] (default: the engine's own point)")
	f.Uint64Var(&c.seed, "seed", 1, "recorded in every output; nothing here is drawn at random")
	f.StringVar(&c.plot, "plot", "", "write a picture to this `FILE`: .svg, .png or .pdf")
	f.BoolVar(&c.json, "json", false, "print one JSON document")
}

// complete offers the embedded engines to the shell.
func (c *common) complete(cmd *cobra.Command) {
	_ = cmd.RegisterFlagCompletionFunc("engine", cobra.FixedCompletions(model.Names(), cobra.ShellCompDirectiveDefault))
}

// loadEngine is model.Load with a *model.Problem about an unknown name.
func loadEngine(name string) (*model.Engine, error) {
	e, err := model.Load(name)
	if errors.Is(err, model.ErrUnknown) {
		return nil, &model.Problem{Key: "engine", Given: strconv.Quote(name),
			Want: "one of " + strings.Join(model.Names(), ", ") + ", or a file name ending in .toml"}
	}
	return e, err
}

// load returns the engine with its point replaced by what the flags say.
func (c *common) load(f *pflag.FlagSet) (*model.Engine, error) {
	e, err := loadEngine(c.engine)
	if err != nil {
		return nil, err
	}
	if f.Changed("trailing-split-deg") && e.Burn.Plugs != 2 {
		return nil, &model.Problem{Key: keyOf("trailing-split-deg"), Given: short(c.split), Want: "no such flag for an engine with one plug"}
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
		{"trailing-split-deg", c.split, math.Pi / 180, &e.Point.Split},
	} {
		if f.Changed(x.flag) {
			*x.at = x.value * x.unit
		}
	}
	return e, e.Point.Check(e)
}

// liken gives flags about a peak or a burn that were not given, which hold for
// pistons, what they are for e.
func liken(f *pflag.FlagSet, e *model.Engine, names ...string) error {
	for _, name := range names {
		if f.Changed(name) || !e.Rotary() {
			continue
		}
		usual, err := strconv.ParseFloat(f.Lookup(name).DefValue, 64)
		if err != nil {
			return err
		}
		likened, err := e.Likened(usual * deg)
		if err != nil {
			return err
		}
		if err := f.Set(name, fmt.Sprintf("%.1f", likened/deg)); err != nil {
			return err
		}
	}
	return nil
}

// place describes where e runs, for titles.
func place(e *model.Engine) string {
	p := &e.Point
	return fmt.Sprintf("%s, %.6g rpm, MAP %.4g kPa, lambda %.3g%s", plain(e.Name), p.Speed*60/(2*math.Pi), p.MAP/1e3, p.Lambda, shaft(e))
}

// shaft says behind a title what the degrees of e are, if not those of a crank.
func shaft(e *model.Engine) string {
	if e.Rotary() {
		return ", shaft degrees"
	}
	return ""
}
