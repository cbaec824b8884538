package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/store/waiver"
)

// listDecided prints the decisions of a kind, a line each, and what was taken back
// as such.
func listDecided[T any](ctx context.Context, a *app, s *store.Store, kind, noun string, words func(*T) string) error {
	all, err := decision.AllSaid[T](ctx, s, kind)
	if err != nil {
		return err
	}
	var lines []string
	for i := range all {
		one := &all[i]
		line := ""
		if one.Takes != nil {
			line = fmt.Sprintf("%s %d withdrawn by the %s", noun, one.Takes.Withdraws, one.Takes.By)
		} else if line = words(&one.Body); one.Withdrawn {
			line += "  (withdrawn)"
		}
		lines = append(lines, fmt.Sprintf("%d  %s", one.Place, line))
	}
	return a.lines(lines...)
}

// lines prints lines.
func (a *app) lines(lines ...string) error {
	for _, line := range lines {
		if _, err := fmt.Fprintln(a.stdout, line); err != nil {
			return err
		}
	}
	return nil
}

// points are lines with a mark before each.
func points(lines []string) []string {
	var out []string
	for _, line := range lines {
		out = append(out, "- "+line)
	}
	return out
}

// withdrawal is what a command takes back.
type withdrawal struct {
	kind, noun string
	short      string
	long       string // what follows from it
	path       string // of the command that lists them
	example    string
	take       func(ctx context.Context, s *store.Store, number int, by string) error // nil: whatever counts of the kind
}

// newWithdrawCommand takes a decision back by its number.
func newWithdrawCommand(a *app, w withdrawal) *cobra.Command {
	var (
		l  ledgerFlags
		by string
	)
	cmd := &cobra.Command{
		Use:     w.example[strings.LastIndex(w.example, " ")+1:] + " NUMBER --by ROLE",
		Short:   w.short,
		Long:    w.long,
		Example: "  echotally " + w.example + " 2 --by quality-manager",
		Args:    arguments(1, 1),
		RunE: func(cmd *cobra.Command, args []string) error {
			number, err := strconv.Atoi(args[0])
			if err != nil || number < 1 || !slices.Contains(waiver.Roles, by) {
				return faults{hinted{fmt.Errorf("give the number of the %s to take back, and --by a role", w.noun), w.path + " shows them; roles: " + strings.Join(waiver.Roles, ", ")}}
			}
			s, err := l.open(cmd.Context(), a, false)
			if err != nil {
				return err
			}
			defer s.Close()
			if w.take == nil {
				err = decision.TakeBack(cmd.Context(), s, w.kind, decision.Withdrawal{Withdraws: number, By: by})
			} else {
				err = w.take(cmd.Context(), s, number, by)
			}
			var none *decision.NotThere
			if errors.As(err, &none) {
				none.Kind = w.noun
				return faults{hinted{none, w.path + " shows them"}}
			}
			if err != nil {
				return err
			}
			return a.lines(fmt.Sprintf("%s %d no longer counts", w.noun, number))
		},
	}
	l.add(cmd)
	cmd.Flags().StringVar(&by, "by", "", "who takes it back, as a role")
	complete(cmd, "by", waiver.Roles...)
	return cmd
}
