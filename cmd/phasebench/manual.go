package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

func newManual() *cobra.Command {
	return &cobra.Command{
		Use:   "manual DIR",
		Short: "write man pages, one for each command, into a folder",
		Args:  countArgs(1, 1, "one folder"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := os.MkdirAll(args[0], 0o755); err != nil {
				return err
			}
			header := &doc.GenManHeader{Title: "PHASEBENCH", Section: "1", Source: "phasebench " + version(), Manual: "phasebench manual"}
			if err := doc.GenManTree(cmd.Root(), header, args[0]); err != nil {
				return err
			}
			fmt.Fprintf(cmd.ErrOrStderr(), "man pages written to %s\n", args[0])
			return nil
		},
	}
}
