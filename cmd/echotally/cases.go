package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/counted"
	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/internal/store"
	"echotally/internal/submission"
)

// casesFlags are the flags of cases.
type casesFlags struct {
	periodFlags
	number int
	setFlags
}

func newCasesCommand(a *app) *cobra.Command {
	f := &casesFlags{}
	cmd := &cobra.Command{
		Use:   "cases NAME --year 2026",
		Short: "Find the studies that may be handed in as cases",
		Long: `Put the clauses of what may be handed in as a case to every study of a period: which
meet all of them, which clause the others fail, and a choice spread over sonographers
and readers. The terminal shows the Study Instance UIDs by which the lab finds them;
what --out writes (page, print, workbook, JSON, CSV) names studies by codes only.
The last line is the command that makes de-identified copies of the chosen ones.
What no record says, such as image quality, is listed for a person to look at.

Kinds of cases are files in the folder cases of the rules. Without a name they are
listed.`,
		Example: "  echotally cases\n  echotally cases aortic-stenosis --from 2025-12-01 --to 2026-11-30 --number 4 --out cases",
		Args:    arguments(0, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return a.listKinds()
			}
			return f.run(cmd.Context(), a, args[0])
		},
	}
	f.add(cmd)
	cmd.Flags().IntVar(&f.number, "number", 4, "how many to choose")
	f.addSet(cmd)
	return cmd
}

func (a *app) listKinds() error {
	lib, err := a.judging(library.Settings{})
	if err != nil {
		return err
	}
	var lines []string
	for _, c := range lib.Cases {
		lines = append(lines, fmt.Sprintf("%s  %s; %d clauses", c.Identifier, c.Title, len(c.Clauses)))
	}
	return a.lines(lines...)
}

func (f *casesFlags) run(ctx context.Context, a *app, name string) error {
	if f.number < 1 {
		return faults{hinted{errors.New("--number is at least 1"), "such as --number 4"}}
	}
	if f.out != "" {
		if err := empty(f.out); err != nil {
			return err
		}
	}
	lib, err := a.judging(library.Settings{})
	if err != nil {
		return err
	}
	at := slices.IndexFunc(lib.Cases, func(c *rule.Cases) bool { return c.Identifier == name })
	if at < 0 {
		var names []string
		for _, c := range lib.Cases {
			names = append(names, c.Identifier)
		}
		return faults{hinted{fmt.Errorf("no kind of cases is called %q", name), "one of " + strings.Join(names, ", ")}}
	}
	of := lib.Cases[at]
	opt, err := f.options(ctx, a, lib)
	if err != nil {
		return err
	}
	s, err := f.viewKeyed(ctx)
	if err != nil {
		return err
	}
	defer s.Close()
	all, err := f.put(ctx, s, lib, of, &opt)
	if err != nil {
		return err
	}
	if len(all) == 0 {
		return hinted{fmt.Errorf("no study with a report of %s in the ledger", opt.Period.Name), "echotally ledger stats shows which days it holds"}
	}
	chosen := submission.Choose(all, f.number)
	if f.out != "" {
		b := &booklet.Booklet{
			Name: "cases", Title: "Cases to hand in", Of: of.Title + "; studies of " + opt.Period.Name, Options: opt, Paper: f.paper.Paper,
			Front:  []booklet.Passage{{Title: "To be looked at by a person", Lines: of.Look}},
			Tables: submission.Tables(of, all, chosen, func(study string) string { return submission.Code(opt.Mark, study) }),
		}
		if err := a.fill(f.out, func(dir string) error { _, err := booklet.Set(dir, b); return err }); err != nil {
			return err
		}
	}
	return f.tell(a, of, all, chosen, opt)
}

// put puts the clauses to every study of the period with a report.
func (f *casesFlags) put(ctx context.Context, s *store.Store, lib *library.Library, of *rule.Cases, opt *audit.Options) ([]submission.Candidate, error) {
	studies, err := f.studies(ctx, s, opt.Period, lib, nil)
	if err != nil {
		return nil, err
	}
	counted := map[string]*counted.Study{}
	for i := range studies.before {
		counted[studies.before[i].UID] = &studies.before[i]
	}
	var out []submission.Candidate
	for one, err := range s.Studies(ctx, store.Period{From: opt.Period.From, To: opt.Period.To}, store.Filter{Lab: f.lab}, lib.Digest) {
		if err != nil {
			return nil, err
		}
		c := counted[one.UID]
		if c == nil || !one.HasReport() {
			continue
		}
		study, err := one.Rebuild()
		if err != nil {
			return nil, fmt.Errorf("study %s: %w", one.UID, err)
		}
		out = append(out, submission.Put(lib, of, study, c, opt, opt.Cutoff))
	}
	return out, nil
}

func (f *casesFlags) tell(a *app, of *rule.Cases, all, chosen []submission.Candidate, opt audit.Options) error {
	var lines []string
	for _, c := range chosen {
		lines = append(lines, fmt.Sprintf("%s  %s  %s", submission.Code(opt.Mark, c.Study), c.Date.Format("2006-01-02"), c.Study))
	}
	lines = append(lines, fmt.Sprintf("%s: %d chosen of %d studies looked at", of.Title, len(chosen), len(all)))
	if len(chosen) < f.number {
		lines = append(lines, fmt.Sprintf("%d were asked for; --out writes which clause the others fail", f.number))
	}
	for _, look := range of.Look {
		lines = append(lines, "look: "+look)
	}
	if f.out != "" {
		lines = append(lines, "written to "+f.out)
	}
	if len(chosen) > 0 {
		next := "next: echotally deidentify PATH --out copies"
		for _, c := range chosen {
			next += " --study " + c.Study
		}
		lines = append(lines, next)
	}
	return a.lines(lines...)
}
