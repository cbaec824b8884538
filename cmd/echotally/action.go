package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/library"
	"echotally/internal/printable"
	"echotally/internal/rule"
	"echotally/internal/store"
	"echotally/internal/store/decision"
)

// actionFlags are the flags of the action commands.
type actionFlags struct {
	ledgerFlags
	entry actionlog.Entry
}

// actionKind is the kind of decisions that actions are.
const actionKind = "action"

func newActionCommand(a *app) *cobra.Command {
	f := &actionFlags{}
	cmd := &cobra.Command{
		Use:   "action",
		Short: "Keep the log of corrective actions",
		Long: `Keep the log of what the lab does about a measure: the cause, the owner as a role,
the due date and the measure it should move. The audit marks the start on the
chart and says whether an effect is seen. The log is in the ledger, proved by its
chain, and only ever added to.`,
		Example: "  echotally action list\n  echotally action add --title worksheet-line --cause forgotten --owner lead-sonographer --measure rule:right-ventricle/tapse-present --due 2027-09-01",
		Args:    cobra.NoArgs,
		RunE:    func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	f.add(cmd)
	cmd.AddCommand(newActionAddCommand(a, f), newActionCloseCommand(a, f), newActionImportCommand(a, f), newActionListCommand(a, f), newActionUpdateCommand(a, f))
	return cmd
}

func (f *actionFlags) describe(cmd *cobra.Command) {
	flags := cmd.Flags()
	flags.StringVar(&f.entry.Title, "title", "", "what is done")
	flags.StringVar(&f.entry.Cause, "cause", "", "what it answers")
	flags.StringVar(&f.entry.Owner, "owner", "", "who sees to it, as a role")
	flags.StringVar(&f.entry.Measure, "measure", "", "measure it should move: one of page one, or rule: and the identifier of a rule")
	flags.StringVar(&f.entry.Started, "started", "", "when it begins, 2026-06-01 (add: today)")
	flags.StringVar(&f.entry.Due, "due", "", "when its effect is to be looked at")
}

func newActionAddCommand(a *app, f *actionFlags) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "add --title TEXT --cause TEXT --owner ROLE --measure MEASURE --due DATE",
		Short:   "Add an action",
		Long:    "Add an action to the log and print its number.",
		Example: "  echotally action add --title worklist-reminder --cause forgotten --owner quality-manager --measure signed-in-time --due 2027-06-30",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			e := f.entry
			if slices.Contains([]string{e.Title, e.Cause, e.Owner, e.Measure, e.Due}, "") {
				return faults{hinted{errors.New("an action needs a title, a cause, an owner, a measure and a due date"), "give --title, --cause, --owner, --measure and --due"}}
			}
			if f.entry.Started == "" {
				f.entry.Started = a.now().UTC().Format(time.DateOnly)
			}
			return f.record(cmd.Context(), a, actionlog.Added)
		},
	}
	f.describe(cmd)
	return cmd
}

func newActionUpdateCommand(a *app, f *actionFlags) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "update NUMBER",
		Short:   "Change what is said of an action",
		Long:    "Add a line to the log that changes an action; what was said before stays in the log.",
		Example: "  echotally action update 1 --due 2027-12-31",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.numbered(cmd.Context(), a, args[0], actionlog.Updated)
		},
	}
	f.describe(cmd)
	return cmd
}

func newActionCloseCommand(a *app, f *actionFlags) *cobra.Command {
	cmd := &cobra.Command{
		Use:     "close NUMBER --result TEXT",
		Short:   "Close an action with its result",
		Long:    "Close an action and say what came of it.",
		Example: "  echotally action close 1 --result effect-seen-in-october",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.entry.Result == "" {
				return faults{hinted{errors.New("what came of it?"), "say it with --result"}}
			}
			return f.numbered(cmd.Context(), a, args[0], actionlog.Ended)
		},
	}
	cmd.Flags().StringVar(&f.entry.Result, "result", "", "what came of it")
	return cmd
}

func newActionListCommand(a *app, f *actionFlags) *cobra.Command {
	return &cobra.Command{
		Use:     "list",
		Short:   "List the actions",
		Long:    "List the actions as they stand, one line each.",
		Example: "  echotally action list --store /data/ledger.db",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			s, err := f.view(cmd.Context())
			if err != nil {
				return err
			}
			defer s.Close()
			actions, err := actions(cmd.Context(), s)
			if err != nil {
				return err
			}
			var lines []string
			for _, one := range actions {
				lines = append(lines, fmt.Sprintf("%d  %-7s  due %s  %s  %s (%s)", one.Number, one.State(a.now()), dateOr(one.Due), one.Measure, printable.Line(one.Title), one.OwnerShown()))
			}
			return a.lines(lines...)
		},
	}
}

func dateOr(t time.Time) string {
	if t.IsZero() {
		return "no date"
	}
	return t.Format(time.DateOnly)
}

func (f *actionFlags) numbered(ctx context.Context, a *app, text string, event actionlog.Event) error {
	n, err := strconv.Atoi(text)
	if err != nil {
		return faults{hinted{fmt.Errorf("%q is no number of an action", text), "echotally action list shows them"}}
	}
	f.entry.Number = n
	return f.record(ctx, a, event)
}

// checkMeasure refuses a measure that no audit has.
func (f *actionFlags) checkMeasure(a *app) error {
	measure := f.entry.Measure
	if measure == "" {
		return nil
	}
	opt := audit.Defaults()
	if _, ok := opt.Find(measure); !ok {
		return faults{hinted{fmt.Errorf("unknown measure %q", measure), "headlines.csv of an audit lists the measures; or give rule: and the identifier of a rule"}}
	}
	if name, ok := audit.RuleOf(measure); ok {
		set, err := a.judging(library.Settings{Drafts: true})
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(set.Rules, func(r *rule.Rule) bool { return r.File.Identifier == name }) {
			return faults{hinted{fmt.Errorf("measure %s: there is no such rule", measure), "echotally rules list shows the rules"}}
		}
	}
	return nil
}

// actions are the actions of the ledger as they stand.
func actions(ctx context.Context, s *store.Store) ([]actionlog.Action, error) {
	entries, err := decision.Standing[actionlog.Entry](ctx, s, actionKind)
	if err != nil {
		return nil, err
	}
	return actionlog.Actions(entries)
}

// record adds the entry to the end of the log.
func (f *actionFlags) record(ctx context.Context, a *app, event actionlog.Event) error {
	if why := actionlog.NoRole(f.entry.Owner); f.entry.Owner != "" && why != "" {
		return faults{hinted{errors.New("the owner is to be a role, which stands in documents that name nobody: " + why), "such as lead-sonographer, quality-manager, medical-director; of these words: " + strings.Join(actionlog.RoleWords(), ", ")}}
	}
	if err := f.checkMeasure(a); err != nil {
		return err
	}
	s, err := f.open(ctx, a, false)
	if err != nil {
		return err
	}
	defer s.Close()
	f.entry.At, f.entry.Event = a.now().UTC(), event
	e, err := addEntry(ctx, s, f.entry)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(a.stdout, "action %d: %s\n", e.Number, map[actionlog.Event]string{actionlog.Added: "added", actionlog.Updated: "updated", actionlog.Ended: "closed"}[event])
	return err
}

func addEntry(ctx context.Context, s *store.Store, e actionlog.Entry) (actionlog.Entry, error) {
	for what, text := range map[string]string{"the title": e.Title, "the cause": e.Cause, "the owner": e.Owner, "the result": e.Result, "the measure": e.Measure} {
		if err := oneLine(what, text); err != nil {
			return e, err
		}
	}
	var refused error
	_, err := s.Decide(ctx, actionKind, func(before []decision.Decision) (any, error) {
		entries, err := decision.SaidOf[actionlog.Entry](before)
		if err != nil {
			return nil, err
		}
		e, refused = actionlog.Next(decision.Counting(entries), e)
		return e, refused
	})
	if refused != nil {
		return e, faults{hinted{refused, "echotally action list shows the actions; --due is a day after --started, which is today unless it is given"}}
	}
	return e, err
}

func newActionImportCommand(a *app, f *actionFlags) *cobra.Command {
	return &cobra.Command{
		Use:   "import FILE",
		Short: "Take in a log that was kept in a file",
		Long: `Take the lines of an action log that an earlier version kept in a file into the
ledger, in their order and with their numbers and times. It stops at the first that
cannot stand; what was taken in before stays.`,
		Example: "  echotally action import echotally-actions.ndjson",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			file, err := listFile(args[0])
			if err != nil {
				return hinted{fmt.Errorf("action log: %w", err), "give the file the log was kept in"}
			}
			defer file.Close()
			entries, err := actionlog.Read(file)
			if err != nil {
				return faults{err}
			}
			s, err := f.open(cmd.Context(), a, false)
			if err != nil {
				return err
			}
			defer s.Close()
			for _, e := range entries {
				if _, err := addEntry(cmd.Context(), s, e); err != nil {
					return err
				}
			}
			_, err = fmt.Fprintf(a.stdout, "%d entries taken in\n", len(entries))
			return err
		},
	}
}
