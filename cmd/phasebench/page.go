package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os/exec"
	"runtime"

	"github.com/spf13/cobra"

	"phasebench/scenarios/page"
	"phasebench/scenarios/record"
)

func newPage() *cobra.Command {
	var listen string
	var open bool
	cmd := &cobra.Command{
		Use:   "page",
		Short: "a local page: drag the spark, run cycles and loops",
		Long: `Serve a page on this machine, with five views. Spark: drag spark, speed, load, mixture,
compression ratio, octane and humidity, and see what a cycle computed afresh makes of it.
Ragged: cycles run one by one, and a reader looks at them. Trust: where the reader can be
believed, and the cycle that fooled it. Loop: a controller runs live, with a hand at the
distributor, faults and a guard. Lesson: six steps for students.

Everything is in this program; nothing is asked of a network. Ctrl-C ends it.`,
		Example: `  phasebench page --open
  phasebench page --listen 127.0.0.1:8030`,
		Args: noArgs,
	}
	cmd.Flags().StringVar(&listen, "listen", "127.0.0.1:0", "`ADDRESS` to listen at; port 0: any that is free")
	cmd.Flags().BoolVar(&open, "open", false, "open it in a browser")
	cmd.RunE = func(cmd *cobra.Command, _ []string) error {
		if _, _, err := net.SplitHostPort(listen); err != nil {
			return bad("listen", listen, "HOST:PORT such as 127.0.0.1:8030")
		}
		l, err := (&net.ListenConfig{}).Listen(cmd.Context(), "tcp", listen)
		if err != nil {
			return fmt.Errorf("--listen = %q: %w", listen, err)
		}
		errw := cmd.ErrOrStderr()
		if ok, warning := page.Loopback(l.Addr()); !ok {
			fmt.Fprintln(errw, "phasebench: warning:", warning)
		}
		address := "http://" + l.Addr().String() + "/"
		fmt.Fprintln(cmd.OutOrStdout(), address)
		fmt.Fprintln(errw, wrap(record.Caution, 96))
		if open {
			if err := browse(address); err != nil {
				fmt.Fprintln(errw, "phasebench: no browser opened:", err)
			}
		}
		err = page.New(version()).Serve(cmd.Context(), l)
		if cmd.Context().Err() != nil {
			return errors.Join(err, context.Cause(cmd.Context()))
		}
		return err
	}
	return cmd
}

// browse opens address in the browser of the desktop.
func browse(address string) error {
	name, args := "xdg-open", []string{address}
	switch runtime.GOOS {
	case "darwin":
		name = "open"
	case "windows":
		name, args = "rundll32", []string{"url.dll,FileProtocolHandler", address}
	}
	return exec.Command(name, args...).Start()
}
