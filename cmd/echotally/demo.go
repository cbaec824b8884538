package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"echotally/internal/demo"
	"echotally/internal/demo/casebook"
	"echotally/internal/demo/labyear"
)

func newDemoCommand(a *app) *cobra.Command {
	var (
		opt  casebook.Options
		year bool
	)
	cmd := &cobra.Command{
		Use:   "demo DIR",
		Short: "Make an invented echo lab with known faults",
		Long: `Write an invented echo lab to an empty folder: the reports of invented patients
as two invented scanners would send them, some with gaps and contradictions, and
truth.json, which names every one of those. The same seed gives the same files.

With --year, twelve months of such studies (250 a month, or --studies) up to
October 2026, with the lists that intake takes (staff, stations, sign-off times,
judged requests, other tests) and those of who was at two meetings, and stories.json,
which says what an audit of the year must find and, of every requirement of the
shipped sets, what a binder must show and why.`,
		Example: `  echotally demo demo-lab
  echotally check demo-lab
  echotally demo other-lab --studies 200 --seed 7
  echotally demo lab-year --year`,
		Args: arguments(1, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			if opt.Studies < 0 {
				return faults{fmt.Errorf("--studies %d: not a number of studies", opt.Studies)}
			}
			if year {
				return writeYear(a, args[0], opt)
			}
			var sum demo.Summary
			err := a.fill(args[0], func(dir string) (err error) {
				sum, err = demo.Write(dir, opt)
				return err
			})
			if err != nil {
				return fmt.Errorf("demo: %w", err)
			}
			_, err = fmt.Fprintf(a.stdout, "%d studies in %d files written to %s, %d of them with %d faults; truth.json names each\n",
				sum.Studies, sum.Files, args[0], sum.Faulty, sum.Faults)
			return err
		},
	}
	cmd.Flags().IntVar(&opt.Studies, "studies", 0, "number of studies, 0 for one of each kind (with --year: a month, 0 for 250)")
	cmd.Flags().BoolVar(&year, "year", false, "twelve months in which things happen")
	cmd.Flags().Uint64Var(&opt.Seed, "seed", 1, "seed; the same seed gives the same files")
	return cmd
}

func writeYear(a *app, dir string, opt casebook.Options) error {
	var sum demo.Summary
	err := a.fill(dir, func(dir string) (err error) {
		sum, err = labyear.Write(dir, labyear.Options{Seed: opt.Seed, PerMonth: opt.Studies})
		return err
	})
	if err != nil {
		return fmt.Errorf("demo: %w", err)
	}
	_, err = fmt.Fprintf(a.stdout, "%d studies of twelve months written to %s; stories.json says what an audit and a binder of them must show\nnext: echotally intake %s, then the lists: %s\n", sum.Studies, dir, dir, labyear.IntakeOfLists(dir))
	return err
}
