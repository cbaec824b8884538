package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"echotally/internal/library"

	"github.com/spf13/cobra"

	"echotally/internal/finding"
	"echotally/internal/rule"
	"echotally/internal/store"
	"echotally/internal/store/waiver"
)

func newWaiveCommand(a *app) *cobra.Command {
	l := &ledgerFlags{}
	var (
		w     waiver.Waiver
		note  string
		force bool
	)
	cmd := &cobra.Command{
		Use:   "waive STUDY RULE --reason CODE --by ROLE",
		Short: "Record why something was not measured",
		Long: `Record a reason for a finding of a rule on a study of the ledger. A waiver never
changes the strict figure; what it does to the figure with exceptions follows from
the reason. One given after sign-off is marked as late. A note is sealed with the
key file, since it may name somebody.

A rule that did not fail in the study, as the ledger last judged it, is not waived
but with --force, such as ahead of a report that is still to come. A contradiction
is never waived: a reason why something was not measured does not make it true.

Reasons (code, effect, meaning):
` + reasonText(),
		Example: `  echotally waive 2.25.17 tricuspid-valve/peak-velocity-present --reason no-signal --by sonographer
  echotally waive list
  echotally waive withdraw 3 --by quality-manager`,
		Args: arguments(2, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			w.Study, w.Rule = args[0], args[1]
			if err := a.checkWaiver(w); err != nil {
				return err
			}
			s, err := l.open(cmd.Context(), a, note != "")
			if err != nil {
				return err
			}
			defer s.Close()
			if err := waivable(cmd.Context(), s, w, force); err != nil {
				return err
			}
			given, err := s.Waive(cmd.Context(), w, note)
			if err != nil {
				return err
			}
			return a.waived(given)
		},
	}
	l.add(cmd)
	l.addKey(cmd)
	cmd.Flags().StringVar(&w.Reason, "reason", "", "why: a code of the list above")
	cmd.Flags().StringVar(&w.Role, "by", "", "who gives it: "+strings.Join(waiver.Roles, ", "))
	cmd.Flags().StringVar(&note, "note", "", "in words, sealed with the key file")
	cmd.Flags().BoolVar(&force, "force", false, "record it although the rule did not fail, ahead of a judgement to come")
	complete(cmd, "by", waiver.Roles...)
	cmd.AddCommand(newWaiveListCommand(a, l), newWaiveWithdrawCommand(a, l))
	return cmd
}

func (a *app) waived(w waiver.Waiver) error {
	late := ""
	if w.Late {
		late = ", marked as given after sign-off"
	}
	_, err := fmt.Fprintf(a.stdout, "waiver %d recorded: %s (%s)%s\n", w.Number, w.Reason, w.Effect, late)
	return err
}

func reasonText() string {
	var b strings.Builder
	for _, r := range waiver.Reasons() {
		fmt.Fprintf(&b, "  %-13s %-10s %s\n", r.Code, r.Effect, r.Meaning)
	}
	return strings.TrimRight(b.String(), "\n")
}

// checkWaiver refuses what cannot be a waiver before a ledger is opened.
func (a *app) checkWaiver(w waiver.Waiver) error {
	switch {
	case !slices.ContainsFunc(waiver.Reasons(), func(r waiver.Reason) bool { return r.Code == w.Reason }):
		return faults{hinted{fmt.Errorf("unknown --reason %q", w.Reason), "echotally waive --help lists the reasons"}}
	case !slices.Contains(waiver.Roles, w.Role):
		return faults{hinted{fmt.Errorf("unknown --by %q", w.Role), "one of " + strings.Join(waiver.Roles, ", ")}}
	}
	set, err := a.judging(library.Settings{Drafts: true})
	if err != nil {
		return err
	}
	i := slices.IndexFunc(set.Rules, func(r *rule.Rule) bool { return r.File.Identifier == w.Rule })
	if i < 0 {
		return faults{hinted{fmt.Errorf("unknown rule %q", w.Rule), "echotally rules list shows the rules"}}
	}
	if set.Rules[i].File.Kind == string(finding.Consistency) {
		return faults{hinted{fmt.Errorf("rule %s is about a contradiction, which no reason waives", w.Rule), "have the report corrected, or the rule changed in a site folder"}}
	}
	return nil
}

// waivable refuses a waiver of what did not fail, or of what cannot be true.
func waivable(ctx context.Context, s *store.Store, w waiver.Waiver, force bool) error {
	found, err := s.LatestJudgement(ctx, w.Study)
	if err != nil {
		return err
	}
	outcome := finding.NotApplicable
	if found == nil {
		outcome = ""
	} else if i := slices.IndexFunc(found.Results, func(r finding.Result) bool { return r.Rule == w.Rule }); i >= 0 {
		outcome = found.Results[i].Outcome
	}
	switch {
	case outcome == finding.Fail || force:
		return nil
	case found == nil:
		return nil // of no study, which is said next, or of one without a report
	}
	return faults{hinted{fmt.Errorf("rule %s did not fail in this study (%s): there is nothing to waive", w.Rule, outcomeWords(outcome)), "check the rule and the study; --force records it ahead of a judgement to come"}}
}

// outcomeWords say what became of a rule that did not fail.
func outcomeWords(o finding.Outcome) string {
	switch o {
	case finding.Pass:
		return "it passed"
	case finding.Open:
		return "it could not be checked"
	case finding.Review:
		return "a person must look"
	case finding.Excused:
		return "the report gives a reason"
	}
	return "it does not apply"
}

func newWaiveListCommand(a *app, l *ledgerFlags) *cobra.Command {
	identify := false
	cmd := &cobra.Command{
		Use:   "list [STUDY]",
		Short: "List the waivers",
		Long: `List the waivers of a study or of all studies, also those that were withdrawn.
Notes are sealed and only shown with --identify.`,
		Example: "  echotally waive list\n  echotally waive list 2.25.17 --identify",
		Args:    arguments(0, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			opt := store.Options{ReadOnly: true}
			if identify {
				key, err := l.readKey(cmd.Context())
				if err != nil {
					return err
				}
				opt.Key = key
			}
			s, err := store.Open(cmd.Context(), l.store, opt)
			if err != nil {
				return err
			}
			defer s.Close()
			list, err := s.Waivers(cmd.Context(), strings.Join(args, ""))
			if err != nil {
				return err
			}
			t := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
			for _, w := range list {
				marks := []string{}
				if w.Late {
					marks = append(marks, "after sign-off")
				}
				if w.Withdrawn {
					marks = append(marks, "withdrawn")
				}
				if identify {
					note, err := s.Note(cmd.Context(), w.Number)
					if err != nil {
						return err
					}
					marks = append(marks, note)
				}
				fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", w.Number, w.At, w.Study, w.Rule, w.Reason, w.Effect, w.Role, strings.Join(marks, ", "))
			}
			return t.Flush()
		},
	}
	cmd.Flags().BoolVar(&identify, "identify", false, "show the notes")
	l.addKey(cmd)
	return cmd
}

func newWaiveWithdrawCommand(a *app, l *ledgerFlags) *cobra.Command {
	var role string
	cmd := &cobra.Command{
		Use:     "withdraw NUMBER --by ROLE",
		Short:   "Withdraw a waiver",
		Long:    "Withdraw a waiver. Both the waiver and its withdrawal stay in the ledger.",
		Example: "  echotally waive withdraw 3 --by quality-manager",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			number, err := strconv.ParseInt(args[0], 10, 64)
			if err != nil {
				return faults{hinted{errors.New("not the number of a waiver"), "echotally waive list shows them"}}
			}
			if !slices.Contains(waiver.Roles, role) {
				return faults{hinted{fmt.Errorf("unknown --by %q", role), "one of " + strings.Join(waiver.Roles, ", ")}}
			}
			s, err := l.open(cmd.Context(), a, false)
			if err != nil {
				return err
			}
			defer s.Close()
			if err := s.Withdraw(cmd.Context(), number, role); err != nil {
				return err
			}
			_, err = fmt.Fprintf(a.stdout, "waiver %d withdrawn\n", number)
			return err
		},
	}
	l.addKey(cmd)
	cmd.Flags().StringVar(&role, "by", "", "who withdraws it")
	return cmd
}
