package main

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"echotally/internal/library"
	"echotally/internal/spelling"

	"github.com/spf13/cobra"

	"echotally/internal/catalogue"
	"echotally/internal/derive"
	"echotally/internal/rule"
)

// The commands that only show: list, show, formulas, catalogue.

func newRulesListCommand(a *app) *cobra.Command {
	var filter catalogue.Filter
	cmd := &cobra.Command{
		Use:     "list [PREFIX]",
		Short:   "List the rules, also drafts and retired ones",
		Long:    "List the rules whose identifier begins with PREFIX: severity, kind, status,\nidentifier, version, title.",
		Example: "  echotally rules list\n  echotally rules list right-ventricle/\n  echotally rules list --guideline \"Rudski 2010\"",
		Args:    arguments(0, 1),
		RunE: func(_ *cobra.Command, args []string) error {
			set, err := a.ruleSet(library.Settings{})
			if err != nil {
				return err
			}
			if len(args) == 1 {
				filter.Prefix = args[0]
			}
			n, err := catalogue.List(a.stdout, set, filter)
			if err == nil && n == 0 {
				return faults{hinted{noRule(filter), "echotally rules list shows all"}}
			}
			return err
		},
	}
	cmd.Flags().StringVar(&filter.Guideline, "guideline", "", "only rules that rest on this `source`: part of its name or title")
	return cmd
}

func noRule(f catalogue.Filter) error {
	if f.Guideline != "" && f.Prefix == "" {
		return fmt.Errorf("no rule rests on %q", f.Guideline)
	}
	if f.Guideline != "" {
		return fmt.Errorf("no rule begins with %q and rests on %q", f.Prefix, f.Guideline)
	}
	return fmt.Errorf("no rule begins with %q", f.Prefix)
}

func newRulesShowCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "show ID",
		Short:   "Print all that a rule says",
		Long:    "Print one rule: why it is there, what to do, when it is wrong to complain, what\nmust hold, every number with its origin, sources and examples. The last part of the\nidentifier suffices where no other rule has it; without -present too.",
		Example: "  echotally rules show tricuspid-valve/peak-velocity-from-two-views\n  echotally rules show tapse",
		Args:    arguments(1, 1),
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			set, err := a.ruleSet(library.Settings{})
			if err != nil {
				return nil, cobra.ShellCompDirectiveError
			}
			return identifiers(set), cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(_ *cobra.Command, args []string) error {
			set, err := a.ruleSet(library.Settings{})
			if err != nil {
				return err
			}
			one, err := findRule(set, args[0])
			if err != nil {
				return err
			}
			return catalogue.Show(a.stdout, one)
		},
	}
}

func identifiers(set *library.Library) []string {
	var out []string
	for _, r := range catalogue.All(set) {
		out = append(out, r.File.Identifier)
	}
	return out
}

func findRule(set *library.Library, identifier string) (*rule.Rule, error) {
	all := catalogue.All(set)
	i := slices.IndexFunc(all, func(r *rule.Rule) bool { return r.File.Identifier == identifier })
	if i >= 0 {
		return all[i], nil
	}
	last := func(r *rule.Rule) string { return path.Base(r.File.Identifier) }
	for _, name := range []string{identifier, identifier + "-present"} { // tapse: the rule that asks for it
		if strings.Contains(identifier, "/") {
			break
		}
		var found []*rule.Rule
		var names []string
		for _, r := range all {
			if last(r) == name {
				found, names = append(found, r), append(names, r.File.Identifier)
			}
		}
		switch {
		case len(found) == 1:
			return found[0], nil
		case len(found) > 1:
			return nil, faults{hinted{fmt.Errorf("%d rules end in %q", len(found), name), "one of " + strings.Join(names, ", ")}}
		}
	}
	hint := "echotally rules list shows all"
	if near := spelling.Nearest(identifier, identifiers(set)); near != "" {
		hint = "did you mean " + near + "?"
	}
	return nil, faults{hinted{fmt.Errorf("no rule %q", identifier), hint}}
}

func newRulesFormulasCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "formulas",
		Short:   "List the formula functions that rules may use",
		Long:    "List the formula functions with the units they take and give, when they are\nvalid, and who published them.",
		Example: "  echotally rules formulas",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			table, err := derive.Load()
			if err != nil {
				return err
			}
			return catalogue.Formulas(a.stdout, table)
		},
	}
}

func newRulesCatalogueCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:     "catalogue",
		Short:   "Print all rules as one Markdown page",
		Long:    "Print all rules, with the site's own when --rules gives any, as one Markdown page.",
		Example: "  echotally rules catalogue --rules our-lab > our-rules.md",
		Args:    cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			set, err := a.ruleSet(library.Settings{})
			if err != nil {
				return err
			}
			return catalogue.Page(a.stdout, set)
		},
	}
}
