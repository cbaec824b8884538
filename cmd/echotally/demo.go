package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"echotally/internal/demo"
)

func newDemoCommand(a *app) *cobra.Command {
	var opt demo.Options
	cmd := &cobra.Command{
		Use:   "demo DIR",
		Short: "Make an invented echo lab with known faults",
		Long: `Write an invented echo lab to an empty folder: the reports of invented patients
as two invented scanners would send them, some with gaps and contradictions, and
truth.json, which names every one of those. The same seed gives the same files.

` + exitTable,
		Example: `  echotally demo demo-lab
  echotally check demo-lab
  echotally demo other-lab --studies 200 --seed 7`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if opt.Studies < 0 {
				return faults{fmt.Errorf("--studies %d: not a number of studies", opt.Studies)}
			}
			if err := folder(args[0]); err != nil {
				return err
			}
			sum, err := demo.Write(args[0], opt)
			if err != nil {
				return fmt.Errorf("demo: %w", err)
			}
			_, err = fmt.Fprintf(a.stdout, "%d studies in %d files written to %s, %d of them with %d faults; truth.json names each\n",
				sum.Studies, sum.Files, args[0], sum.Faulty, sum.Faults)
			return err
		},
	}
	cmd.Flags().IntVar(&opt.Studies, "studies", 0, "number of studies, 0 for one of each kind")
	cmd.Flags().Uint64Var(&opt.Seed, "seed", 1, "seed; the same seed gives the same files")
	return cmd
}
