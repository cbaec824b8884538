package main

import (
	"errors"
	"fmt"

	"echotally/internal/example"
	"echotally/internal/library"

	"github.com/spf13/cobra"
)

// The commands that test rule files: lint, test.

func newRulesLintCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "lint [FOLDER...]",
		Short: "Show every fault in the rule files",
		Long: `Load the shipped rules and the site folders, given here or with --rules, and show
every fault with file, line, caret and hint.

` + exitTable,
		Example: "  echotally rules lint our-lab",
		RunE: func(_ *cobra.Command, folders []string) error {
			layers, err := a.layers(folders...)
			if err != nil {
				return err
			}
			found := apart(library.Lint(library.Settings{Drafts: true}, layers...))
			if len(found) > 0 {
				return faults{fmt.Errorf("faults in the rule files: %d\n%w", len(found), errors.Join(found...))}
			}
			_, err = fmt.Fprintln(a.stdout, "no faults")
			return err
		},
	}
}

// apart takes joined errors apart, so that each counts.
func apart(errs []error) []error {
	var out []error
	for _, err := range errs {
		if joined, ok := err.(interface{ Unwrap() []error }); ok {
			out = append(out, apart(joined.Unwrap())...)
			continue
		}
		out = append(out, err)
	}
	return out
}

func newRulesTestCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "test [ID...]",
		Short: "Run the examples written in the rule files",
		Long: `Put each rule to its own examples, drafts included, and show those that come to
another outcome than they say.

` + exitTable,
		Example: "  echotally rules test --rules our-lab\n  echotally rules test our-structure/our-rule --rules our-lab",
		RunE: func(_ *cobra.Command, args []string) error {
			set, err := a.ruleSet(library.Settings{Drafts: true})
			if err != nil {
				return err
			}
			rules := set.Rules
			if len(args) > 0 {
				rules = nil
				for _, id := range args {
					one, err := findRule(set, id)
					if err != nil {
						return err
					}
					rules = append(rules, one)
				}
			}
			examples, wrong := 0, 0
			for _, r := range rules {
				for _, e := range example.Run(set, r) {
					examples++
					if e.Fault != "" {
						wrong++
						fmt.Fprintf(a.stdout, "%s: example %q: %s\n", r.File.Identifier, e.Title, e.Fault)
					}
				}
			}
			fmt.Fprintf(a.stdout, "rules: %d, examples: %d, not as they say: %d\n", len(rules), examples, wrong)
			if wrong > 0 {
				return faults{errors.New("examples failed")}
			}
			return nil
		},
	}
}
