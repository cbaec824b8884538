package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"echotally/internal/audit"
	"echotally/internal/auditwriter"
	"echotally/internal/catalogue"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/printable"
	"echotally/internal/rule"
	"echotally/internal/table"
	"echotally/rules"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"
)

// auditFlags are the flags of audit.
type auditFlags struct {
	periodFlags
	setFlags
	compare bool

	prepared string
}

func newAuditCommand(a *app) *cobra.Command {
	f := &auditFlags{}
	cmd := &cobra.Command{
		Use:   "audit --month 2026-10 --out DIR",
		Short: "Write the lab's audit of a month, quarter or year",
		Long: `Count the studies of a period in the ledger and write one set of documents to an
empty folder: audit.html to read and print, audit.pdf for the minutes, audit.xlsx
with real numbers, audit.json for programs, and a CSV file per table with
dictionary.csv, which explains every column. All of them say the same; what is
printed leaves out table rows in which nothing is remarkable and says how many.

Every share is shown with its denominator and interval. Charts show twelve
months, beside those of the year before where the ledger holds them, and mark
actions and changes of scanner software. What signals is shown with how many signals chance alone gives.
No patient is named; staff are codes drawn anew for every period, nobody is judged
under --floor studies and nobody compared among fewer than five people.

With --compare and --rules (or another --edition), the period is judged anew under
those rules from the measurements in the ledger; page one says so and which rules
differ, and three more tables show what that changes against the shipped ones.

What the lab chooses is in a file that --settings names. This one says what holds
without it:

  ` + strings.ReplaceAll(strings.TrimSpace(audit.SettingsExample), "\n", "\n  "),
		Example: `  echotally audit --month 2026-10 --out audit-2026-10
  echotally audit --quarter 2026-Q3 --lab Harbourlight --out q3
  echotally audit --month 2026-10 --rules our-lab --compare --out what-if`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return f.run(cmd.Context(), a) },
	}
	f.add(cmd)
	f.addSet(cmd)
	cmd.Flags().StringVar(&f.prepared, "prepared", "", "who prepares it, a role, as it is to stand on the pages; wins over --settings")
	cmd.Flags().BoolVar(&f.compare, "compare", false, "show what the rules of --rules change")
	return cmd
}

func (f *auditFlags) run(ctx context.Context, a *app) error {
	if f.out == "" {
		return faults{hinted{errors.New("nowhere to write to"), "name an empty folder by --out"}}
	}
	if f.compare && len(a.ruleFolders) == 0 && a.edition == rule.DefaultEdition {
		return faults{hinted{errors.New("--compare has nothing to compare with"), "name the other rules by --rules, or another --edition"}}
	}
	inLargePages(auditHeap)
	var shipped *library.Library // to compare with
	var load errgroup.Group
	if f.compare {
		load.Go(func() (err error) {
			shipped, err = a.load(library.Settings{NoExamples: true}, rules.FS)
			return err
		})
	}
	set, err := a.judging(library.Settings{})
	if err = errors.Join(err, load.Wait()); err != nil {
		return err
	}
	opt, err := f.options(ctx, a, set)
	if err != nil {
		return err
	}
	if f.prepared != "" {
		opt.Prepared = printable.Line(f.prepared)
	}
	if err := empty(f.out); err != nil {
		return err
	}
	defer sparingUpTo(max(a.most, mostAuditing))()
	report, err := f.report(ctx, set, shipped, opt)
	if err != nil {
		return err
	}
	if report.Received == 0 {
		return hinted{fmt.Errorf("no study of %s in the ledger: nothing was counted", f.whose(report)), "echotally ledger stats shows which days it holds, the list of stations which labs"}
	}
	var names []string
	err = a.fill(f.out, func(dir string) (err error) {
		names, err = auditwriter.AuditSet(dir, report, f.paper.Paper)
		return err
	})
	if err != nil {
		return err
	}
	for _, line := range report.Notable() {
		fmt.Fprintln(a.stdout, "- "+line)
	}
	_, err = fmt.Fprintf(a.stdout, "%d studies received, %d eligible, %d signals; %d files written to %s\n",
		report.Received, report.Eligible, len(report.Signals), len(names), f.out)
	return err
}

// whose is the period, and the lab when one alone was asked for.
func (f *auditFlags) whose(r *audit.Report) string {
	if r.Options.Lab != "" {
		return r.Options.Period.Name + " at " + r.Options.Lab
	}
	return r.Options.Period.Name
}

// report counts the period. When there are shipped rules to compare with, the
// report is that of the site's rules, and begins with what they change.
func (f *auditFlags) report(ctx context.Context, set, shipped *library.Library, opt audit.Options) (*audit.Report, error) {
	ledger, err := f.viewKeyed(ctx)
	if err != nil {
		return nil, err
	}
	defer ledger.Close()
	if opt.Actions, err = actions(ctx, ledger); err != nil {
		return nil, err
	}
	if shipped == nil {
		studies, err := f.studies(ctx, ledger, opt.Period.Reach(), set, nil)
		if err != nil {
			return nil, err
		}
		return audit.Build(studies.before, opt), nil
	}
	studies, err := f.studies(ctx, ledger, opt.Period.Look(), shipped, set)
	if err != nil {
		return nil, err
	}
	// Both only read the studies.
	var (
		tables []table.Table
		wait   sync.WaitGroup
	)
	wait.Go(func() { tables = audit.Compare(studies.before, studies.after, opt) })
	report := audit.Build(studies.after, opt)
	wait.Wait()
	report.WhatIf(tables, audit.RulesInForce{RuleSet: shipped.Version, Edition: shipped.Edition}, changed(shipped, set))
	return report, nil
}

// changed lists the rules that differ, in words.
func changed(was, is *library.Library) []audit.RuleChange {
	titles := map[string]string{}
	for _, set := range []*library.Library{was, is} {
		for _, one := range set.Rules {
			titles[one.File.Identifier] = one.File.Title
		}
	}
	changes, _ := catalogue.Compare(was, is)
	said := map[string]bool{}
	var out []audit.RuleChange
	for _, c := range changes {
		said[c.Identifier] = true
		for i, what := range c.What {
			if strings.HasPrefix(what, "severity ") { // in the words of the pages
				c.What[i] = strings.ReplaceAll(what, string(finding.Information), "note")
			}
		}
		out = append(out, audit.RuleChange{Identifier: c.Identifier, Title: titles[c.Identifier], What: c.What})
	}
	for _, one := range is.Rules {
		if was.Edition != is.Edition && one.OnEdition() && !said[one.File.Identifier] {
			out = append(out, audit.RuleChange{Identifier: one.File.Identifier, Title: one.File.Title, What: []string{"limits of edition " + is.Edition + " in place of " + was.Edition}})
		}
	}
	return out
}
