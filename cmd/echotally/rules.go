package main

import (
	"github.com/spf13/cobra"
)

func newRulesCommand(a *app) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rules",
		Short: "Read, test and change the rules",
		Long: `The rules are plain files. The program carries a copy; a lab keeps changes of its
own in a site folder, given with --rules, and never edits the shipped ones.`,
		Example: `  echotally rules list tricuspid-valve
  echotally rules show tricuspid-valve/peak-velocity-from-two-views
  echotally rules lint --rules our-lab`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cmd.AddCommand(
		newRulesListCommand(a), newRulesShowCommand(a), newRulesLintCommand(a), newRulesTestCommand(a), newRulesNewCommand(a),
		newRulesExportCommand(a), newRulesDiffCommand(a), newRulesFormulasCommand(a), newRulesCatalogueCommand(a),
	)
	return cmd
}
