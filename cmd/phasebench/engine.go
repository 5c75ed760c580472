package main

import (
	"errors"
	"fmt"
	"math"
	"os"

	"github.com/spf13/cobra"

	"phasebench/model"
)

func newEngine() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "engine",
		Short: "list, show and check engine files",
		Long: `Engine files are TOML with the unit in every key name. Start one from an
embedded engine:  phasebench engine show pump-set > mine.toml`,
		Args: noArgs,
	}
	var asJSON bool
	cmd.RunE = func(cmd *cobra.Command, _ []string) error { return listEngines(cmd, asJSON) }
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON document")
	list := &cobra.Command{
		Use:   "list",
		Short: "list the embedded engines",
		Args:  noArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return listEngines(cmd, asJSON) },
	}
	list.Flags().BoolVar(&asJSON, "json", false, "print one JSON document")

	var showJSON bool
	show := &cobra.Command{
		Use:               "show [NAME|FILE.toml]",
		Short:             "print an engine file with every key, its meaning and its range",
		Args:              countArgs(0, 1, "at most one name or file"),
		ValidArgsFunction: cobra.FixedCompletions(model.Names(), cobra.ShellCompDirectiveDefault),
		RunE: func(cmd *cobra.Command, args []string) error {
			e, err := loadEngine(append(args, model.Default)[0])
			if err != nil {
				return err
			}
			if showJSON {
				return writeJSON(cmd.OutOrStdout(), newMeta("engine show", 0, e))
			}
			_, err = cmd.OutOrStdout().Write(e.TOML())
			return err
		},
	}
	show.Flags().BoolVar(&showJSON, "json", false, "print one JSON document")

	var checkJSON bool
	check := &cobra.Command{
		Use:   "check FILE.toml...",
		Short: "check engine files; every fault is told with row and column",
		Args:  countArgs(1, math.MaxInt, "one engine file or more"),
		RunE: func(cmd *cobra.Command, args []string) error {
			var all []error
			var good []string
			for _, name := range args {
				data, err := os.ReadFile(name)
				if err == nil {
					_, err = model.Parse(name, data)
				}
				if err != nil {
					all = append(all, err)
					continue
				}
				good = append(good, name)
			}
			err := errors.Join(all...)
			if checkJSON && err == nil {
				return writeJSON(cmd.OutOrStdout(), struct {
					InOrder []string `json:"in_order"`
				}{good})
			}
			for _, name := range good {
				if !checkJSON {
					fmt.Fprintf(cmd.OutOrStdout(), "%s: in order\n", name)
				}
			}
			return err
		},
	}
	check.Flags().BoolVar(&checkJSON, "json", false, "print one JSON document if all are in order")
	cmd.AddCommand(list, show, check)
	return cmd
}

func listEngines(cmd *cobra.Command, asJSON bool) error {
	type entry struct {
		Name        string  `json:"name"`
		Description string  `json:"description"`
		SweptCm3    float64 `json:"swept_cm3"`
		Ratio       float64 `json:"compression_ratio"`
		Fuel        string  `json:"fuel"`
	}
	var all []entry
	for _, name := range model.Names() {
		e, err := model.Load(name)
		if err != nil {
			return err
		}
		c, err := e.Chamber()
		if err != nil {
			return err
		}
		all = append(all, entry{name, e.Description, c.Swept() * 1e6, *e.Ratio(), e.Fuel})
	}
	if asJSON {
		return writeJSON(cmd.OutOrStdout(), struct {
			Engines []entry `json:"engines"`
		}{all})
	}
	for _, x := range all {
		fmt.Fprintf(cmd.OutOrStdout(), "%-20s %6.1f cm3  ratio %4.1f  %-11s %s\n", x.Name, x.SweptCm3, x.Ratio, x.Fuel, x.Description)
	}
	return nil
}
