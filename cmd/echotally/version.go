package main

import (
	"fmt"

	"echotally/internal/library"

	"github.com/spf13/cobra"
)

// version is the version of the program; releases set it in the same commit as
// the changelog heading.
const version = "0.1.0-dev"

func newVersionCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "version",
		Short: "Print the versions of program and rule set",
		Long: `Print the version of the program, and version, size and digest of the rule set,
with the site folders given by --rules.`,
		Example: "  echotally version\n  echotally version --rules our-lab",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			set, err := a.judging(library.Settings{})
			if err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.stdout, "echotally %s\nrule set %s, %d rules, SHA-256 %s\n", version, set.Version, len(set.Rules), set.Digest)
			return err
		},
	}
}
