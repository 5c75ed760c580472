package main

import (
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"phasebench/model"
	"phasebench/model/gas"
	"phasebench/scenarios/chart"
	"phasebench/scenarios/ideal"
	"phasebench/wiebe"
)

// idealFlags holds the flags that every handbook cycle has.
type idealFlags struct {
	seed uint64
	plot string
	json bool
}

func (c *idealFlags) register(f *pflag.FlagSet) {
	f.Uint64Var(&c.seed, "seed", 1, "recorded in every output; nothing here is drawn at random")
	f.StringVar(&c.plot, "plot", "", "write a picture to this `FILE`: .svg, .png or .pdf")
	f.BoolVar(&c.json, "json", false, "print one JSON document")
}

func newIdeal() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "ideal",
		Short: "handbook cycles: Otto, Diesel, dual, finite heat release",
		Long: `Handbook cycles, for comparison with worked examples. Gas models: cold-air
(constant specific heats), air (air-standard, variable specific heats) and
equilibrium (fuel and air, burned gas at chemical equilibrium; Otto only).`,
		Args: noArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(newOtto(), newDiesel(), newDual(), newFinite())
	return cmd
}

// chargeFlags puts the fields of c behind flags; gases are those allowed.
func chargeFlags(cmd *cobra.Command, c *ideal.Charge, argon *bool, gases []string) {
	f := cmd.Flags()
	f.StringVar(&c.Gas, "gas", c.Gas, "gas model: "+strings.Join(gases, ", "))
	f.Float64Var(&c.Ratio, "ratio", c.Ratio, "compression ratio")
	f.Float64Var(&c.T1, "t1-k", c.T1, "temperature before compression [K]")
	f.Float64Var(&c.P1, "p1-bar", c.P1/1e5, "pressure before compression [bar]")
	f.Float64Var(&c.Gamma, "gamma", c.Gamma, "ratio of specific heats, for cold-air")
	f.Float64Var(&c.R, "gas-constant-j-kg-k", c.R, "gas constant, for cold-air [J/kg/K]")
	f.BoolVar(argon, "argon", false, "air with its argon, for air and equilibrium")
	_ = cmd.RegisterFlagCompletionFunc("gas", cobra.FixedCompletions(gases, cobra.ShellCompDirectiveNoFileComp))
}

// assume gives the first flags of names these values if none of names was
// given, so that the record of the flags shows what was run.
func assume(f *pflag.FlagSet, names []string, values ...string) error {
	if slices.ContainsFunc(names, f.Changed) {
		return nil
	}
	for i, v := range values {
		if err := f.Set(names[i], v); err != nil {
			return err
		}
	}
	return nil
}

// gasOf tells which gas models have a flag, for those that not all have.
var gasOf = map[string][]string{
	"gamma": {ideal.ColdAir}, "gas-constant-j-kg-k": {ideal.ColdAir},
	"argon": {ideal.Air, ideal.Equilibrium},
	"fuel":  {ideal.Equilibrium}, "phi": {ideal.Equilibrium},
}

// checkFlags refuses what would be passed over in silence: a flag of another
// gas model, and 0 for a value that counts as not given then.
func checkFlags(f *pflag.FlagSet, gas string) (err error) {
	f.Visit(func(x *pflag.Flag) {
		if err != nil {
			return
		}
		key, given := keyOf(x.Name), x.Value.String()
		if of := gasOf[x.Name]; of != nil && slices.Contains(ideal.Gases(), gas) && !slices.Contains(of, gas) {
			err = &model.Problem{Key: key, Given: given, Want: "no such flag with --gas " + gas + ", only with " + strings.Join(of, " or ")}
		}
		if v, ok := x.Value.(*number); ok && *v.at == 0 && x.Name != "constant-volume-share" {
			err = &model.Problem{Key: key, Given: given, Want: "more than 0; leave the flag out to give another one"}
		}
	})
	return err
}

// settle turns what the flags say into SI.
func settle(c *ideal.Charge, argon bool) {
	c.P1 *= 1e5
	if argon {
		c.Air = ideal.AirWithArgon
	}
}

// ready checks the flags of a cycle of states before any work is done; of the
// flags oneOf, if none is given, the first ones take the values assumed.
func (c *idealFlags) ready(cmd *cobra.Command, gas string, oneOf []string, assumed ...string) error {
	if err := checkPicture("plot", c.plot); err != nil {
		return err
	}
	if len(oneOf) > 0 {
		if err := assume(cmd.Flags(), oneOf, assumed...); err != nil {
			return err
		}
	}
	return checkFlags(cmd.Flags(), gas)
}

func newOtto() *cobra.Command {
	var flags idealFlags
	in := ideal.Otto{Charge: ideal.DefaultCharge()}
	argon := false
	cmd := &cobra.Command{
		Use:   "otto",
		Short: "heat at constant volume",
		Example: `  phasebench ideal otto --ratio 8 --t1-k 290 --heat-kj-kg 800
  phasebench ideal otto --gas equilibrium --fuel methane --phi 1.2 --ratio 12`,
		Args: noArgs,
	}
	flags.register(cmd.Flags())
	chargeFlags(cmd, &in.Charge, &argon, ideal.Gases())
	cmd.Flags().StringVar(&in.Fuel, "fuel", in.Fuel, "for equilibrium: "+strings.Join(gas.Fuels(), ", "))
	cmd.Flags().Float64Var(&in.Phi, "phi", in.Phi, "fuel-air equivalence ratio, for equilibrium")
	optional(cmd.Flags(), &in.Heat, "heat-kj-kg", "heat taken in [kJ/kg]; without it and --t3-k: 800")
	optional(cmd.Flags(), &in.T3, "t3-k", "temperature after heating [K], in place of the heat")
	_ = cmd.RegisterFlagCompletionFunc("fuel", cobra.FixedCompletions(gas.Fuels(), cobra.ShellCompDirectiveNoFileComp))
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		heats := []string{"heat-kj-kg", "t3-k"}
		if in.Gas == ideal.Equilibrium {
			heats = nil // the fuel brings it
		}
		if err := flags.ready(cmd, in.Gas, heats, "800"); err != nil {
			return err
		}
		in := in // in SI; the flags keep what was given
		settle(&in.Charge, argon)
		in.Heat *= 1e3
		c, err := in.Run()
		return flags.show(cmd, "otto", c, err)
	}
	return cmd
}

func newDiesel() *cobra.Command {
	var flags idealFlags
	in := ideal.Diesel{Charge: ideal.DefaultCharge()}
	in.Ratio = 18
	argon := false
	cmd := &cobra.Command{
		Use:     "diesel",
		Short:   "heat at constant pressure",
		Example: `  phasebench ideal diesel --ratio 18 --cutoff 2`,
		Args:    noArgs,
	}
	flags.register(cmd.Flags())
	chargeFlags(cmd, &in.Charge, &argon, []string{ideal.ColdAir, ideal.Air})
	optional(cmd.Flags(), &in.Cutoff, "cutoff", "cut-off ratio v3/v2; without it, --heat-kj-kg and --t3-k: 2")
	optional(cmd.Flags(), &in.Heat, "heat-kj-kg", "heat taken in [kJ/kg], in place of the cut-off ratio")
	optional(cmd.Flags(), &in.T3, "t3-k", "temperature after heating [K], in place of the cut-off ratio")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := flags.ready(cmd, in.Gas, []string{"cutoff", "heat-kj-kg", "t3-k"}, "2"); err != nil {
			return err
		}
		in := in // in SI; the flags keep what was given
		settle(&in.Charge, argon)
		in.Heat *= 1e3
		c, err := in.Run()
		return flags.show(cmd, "diesel", c, err)
	}
	return cmd
}

func newDual() *cobra.Command {
	var flags idealFlags
	in := ideal.Dual{Charge: ideal.DefaultCharge()}
	in.Ratio = 18
	argon := false
	cmd := &cobra.Command{
		Use:     "dual",
		Short:   "heat at constant volume, then at constant pressure",
		Example: `  phasebench ideal dual --ratio 18 --pressure-ratio 1.5 --cutoff 1.2`,
		Args:    noArgs,
	}
	flags.register(cmd.Flags())
	chargeFlags(cmd, &in.Charge, &argon, []string{ideal.ColdAir, ideal.Air})
	optional(cmd.Flags(), &in.PressureRatio, "pressure-ratio", "p3/p2; without it, --cutoff and --heat-kj-kg: 1.5")
	optional(cmd.Flags(), &in.Cutoff, "cutoff", "cut-off ratio v4/v3; without it, --pressure-ratio and --heat-kj-kg: 1.2")
	optional(cmd.Flags(), &in.Heat, "heat-kj-kg", "heat taken in [kJ/kg], in place of the two ratios")
	optional(cmd.Flags(), &in.Share, "constant-volume-share", "share of --heat-kj-kg taken in at constant volume, 0 to 1; without it: 0")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := flags.ready(cmd, in.Gas, []string{"pressure-ratio", "cutoff", "heat-kj-kg"}, "1.5", "1.2"); err != nil {
			return err
		}
		in := in // in SI; the flags keep what was given
		settle(&in.Charge, argon)
		in.Heat *= 1e3
		c, err := in.Run()
		return flags.show(cmd, "dual", c, err)
	}
	return cmd
}

func newFinite() *cobra.Command {
	var flags idealFlags
	in := ideal.Finite{Ratio: 10, Gamma: 1.4, Heat: 20}
	start, duration := -20., 40.
	burn := wiebe.Stage{A: 5, M: 2}
	cmd := &cobra.Command{
		Use:   "finite",
		Short: "heat released over a finite angle at constant gamma",
		Long: `Heat released over a finite angle, infinite rod, constant gamma, pressures over
the first pressure p1 and volumes over the first volume V1. The burned
fraction is 1 - exp(-a ((angle - start)/duration)^(m+1)).`,
		Example: `  phasebench ideal finite --ratio 9 --gamma 1.35 --heat 18 --wiebe-a 5 --wiebe-m 2 --start-deg -15 --duration-deg 45`,
		Args:    noArgs,
	}
	flags.register(cmd.Flags())
	cmd.Flags().Float64Var(&in.Ratio, "ratio", in.Ratio, "compression ratio")
	cmd.Flags().Float64Var(&in.Gamma, "gamma", in.Gamma, "ratio of specific heats")
	cmd.Flags().Float64Var(&in.Heat, "heat", in.Heat, "heat released over p1 V1")
	cmd.Flags().Float64Var(&burn.A, "wiebe-a", burn.A, "a of the burned fraction above")
	cmd.Flags().Float64Var(&burn.M, "wiebe-m", burn.M, "m of the burned fraction above")
	cmd.Flags().Float64Var(&start, "start-deg", start, "start of burning [deg after dead centre]")
	cmd.Flags().Float64Var(&duration, "duration-deg", duration, "start to end of burning [deg]")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if err := checkPicture("plot", flags.plot); err != nil {
			return err
		}
		burn := burn
		burn.Start, burn.Span = start*deg, duration*deg
		in := in
		in.Burn = burn
		r, err := in.Run()
		if err != nil {
			return err
		}
		c := chart.Lines("Finite heat release", chart.Axis{Title: "angle [deg after dead centre]", Angle: true},
			chart.Axis{Title: "pressure over p1 [-]"},
			[]chart.Curve{{Name: "pressure", X: scaled(r.Theta, deg), Y: r.Pressure}},
			[]chart.Mark{{X: r.LPP / deg, Y: r.Peak, Text: fmt.Sprintf("LPP %.1f deg", r.LPP/deg)}})
		return flags.answer(cmd, "finite", r, r.Table(), c)
	}
	return cmd
}

// show answers with a cycle of states.
func (c *idealFlags) show(cmd *cobra.Command, name string, cycle *ideal.Cycle, err error) error {
	if err != nil {
		return err
	}
	path, err := cycle.Path(60)
	if err != nil {
		return err
	}
	curve := chart.Curve{Name: name}
	for _, s := range path {
		curve.X, curve.Y = append(curve.X, s.V), append(curve.Y, s.P/1e5)
	}
	var marks []chart.Mark
	for i, s := range cycle.States {
		marks = append(marks, chart.Mark{X: s.V, Y: s.P / 1e5, Text: fmt.Sprintf("%d: %.0f K", i+1, s.T)})
	}
	picture := chart.Lines("Ideal cycle: "+name, chart.Axis{Title: "specific volume [m³/kg]", Log: true},
		chart.Axis{Title: "pressure [bar]", Log: true}, []chart.Curve{curve}, marks)
	return c.answer(cmd, name, cycle, cycle.Table(), picture)
}

// answer prints a result, as JSON or as a table, and draws it if asked to.
func (c *idealFlags) answer(cmd *cobra.Command, name string, result json.Marshaler, table []ideal.Field, picture *chart.Chart) error {
	m := newMeta("ideal "+name, c.seed, nil)
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		switch f.Name {
		case "json", "plot", "seed", "help":
		default:
			m.also(cmd.Flags(), f.Name)
		}
	})
	if c.plot != "" {
		if err := m.picture(c.plot, picture); err != nil {
			return err
		}
	}
	out := cmd.OutOrStdout()
	if c.json {
		return writeMerged(out, result, m)
	}
	for _, f := range table {
		fmt.Fprintf(out, "%-22s %s\n", f.Key, text("%.6g", &f.Value))
	}
	return nil
}

// writeMerged writes the object of result with one more key, meta.
func writeMerged(w io.Writer, result json.Marshaler, m meta) error {
	body, err := result.MarshalJSON()
	if err != nil {
		return err
	}
	tail, err := json.Marshal(m)
	if err != nil {
		return err
	}
	whole := append(body[:len(body)-1:len(body)-1], `,"meta":`...)
	whole = append(append(whole, tail...), '}')
	return writeJSON(w, json.RawMessage(whole))
}
