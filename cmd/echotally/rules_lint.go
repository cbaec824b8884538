package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"echotally/internal/datafile/bound"
	"echotally/internal/datafile/fault"
	"echotally/internal/example"
	"echotally/internal/library"
	"echotally/internal/rule"

	"github.com/spf13/cobra"
)

// The commands that test rule files: lint, test.

func newRulesLintCommand(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "lint [FOLDER...]",
		Short: "Show every fault in the rule files",
		Long: `Load the shipped rules and the site folders, given here or with --rules, and show
every fault with file, line, caret and hint. Without a fault the examples of the
site's rules are run as well; without a site folder, those of all.`,
		Example: "  echotally rules lint our-lab",
		RunE: func(_ *cobra.Command, folders []string) error {
			layers, err := a.layers(folders...)
			if err != nil {
				return err
			}
			inLargePages(lintHeap)
			all := slices.Concat(a.ruleFolders, folders)
			defer a.sparing()()
			found := inFolders(apart(library.Lint(library.Settings{Drafts: true}, layers...)), all)
			if len(found) > 0 {
				return faults{fmt.Errorf("faults in the rule files: %d (no example was run)\n%w", number(found), errors.Join(found...))}
			}
			set, err := library.Load(library.Settings{Drafts: true}, layers...)
			if err != nil {
				return err
			}
			ours := set.Rules
			if len(all) > 0 {
				ours = slices.DeleteFunc(slices.Clone(ours), func(r *rule.Rule) bool { return !r.Site })
			}
			fmt.Fprintln(a.stdout, "no faults")
			return a.runExamples(set, ours)
		},
	}
}

// inFolders puts the site folder before the names of its files. What is shipped
// has no faults, so that a file of that name and line in a site folder is meant.
func inFolders(errs []error, folders []string) []error {
	read := map[string]string{}
	content := func(dir, name string) (string, bool) {
		file := filepath.Join(dir, filepath.FromSlash(name))
		if text, known := read[file]; known {
			return text, true
		}
		text, err := bound.ReadFile(os.DirFS(dir), name)
		if err == nil {
			read[file] = string(text)
		}
		return read[file], err == nil
	}
	for _, err := range errs {
		var fault *fault.Error
		if !errors.As(err, &fault) {
			continue
		}
		for _, dir := range folders {
			text, there := content(dir, fault.File)
			if there && (fault.Source == "" || strings.Contains(text, fault.Source)) {
				fault.File = filepath.Join(dir, fault.File)
				break
			}
		}
	}
	return errs
}

// number is how many faults there are, with those a last line of a file stands for.
func number(found []error) int {
	n := 0
	for _, err := range found {
		if fault, ok := errors.AsType[*fault.Error](err); ok && fault.More > 0 {
			n += fault.More - 1
		}
		n++
	}
	return n
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
another outcome than they say.`,
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
			return a.runExamples(set, rules)
		},
	}
}

// runExamples puts rules to their own examples.
func (a *app) runExamples(set *library.Library, rules []*rule.Rule) error {
	defer a.sparing()()
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
	_, err := fmt.Fprintf(a.stdout, "rules: %d, examples: %d, not as they say: %d\n", len(rules), examples, wrong)
	if err == nil && wrong > 0 {
		err = faults{errors.New("examples failed")}
	}
	return err
}
