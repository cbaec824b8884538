package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"echotally/internal/store"
)

// numbered is what was decided, with its place among its kind.
type numbered[T any] struct {
	store.Placed
	body T // zero for a withdrawal
}

// decided reads the decisions of a kind, what was withdrawn and the withdrawals
// among them.
func decided[T any](ctx context.Context, s *store.Store, kind string) ([]numbered[T], error) {
	list, err := s.Decisions(ctx, kind)
	if err != nil {
		return nil, err
	}
	return bodies[T](list)
}

func bodies[T any](list []store.Decision) ([]numbered[T], error) {
	placed, err := store.Place(list)
	if err != nil {
		return nil, err
	}
	out := make([]numbered[T], len(list))
	for i, p := range placed {
		out[i].Placed = p
		if p.Takes != nil {
			continue
		}
		if err := json.Unmarshal(p.Body, &out[i].body); err != nil {
			return nil, fmt.Errorf("%s, decision %d of the ledger: %w", p.Kind, p.Number, err)
		}
	}
	return out, nil
}

// counting are those that count.
func counting[T any](all []numbered[T]) []T {
	return bodiesOf(all, func(one numbered[T]) bool { return one.Counts() })
}

// everSaid are also those that were withdrawn since.
func everSaid[T any](all []numbered[T]) []T {
	return bodiesOf(all, func(one numbered[T]) bool { return one.Takes == nil })
}

func bodiesOf[T any](all []numbered[T], keep func(numbered[T]) bool) []T {
	var out []T
	for _, one := range all {
		if keep(one) {
			out = append(out, one.body)
		}
	}
	return out
}

// standing reads those of a kind that count.
func standing[T any](ctx context.Context, s *store.Store, kind string) ([]T, error) {
	all, err := decided[T](ctx, s, kind)
	return counting(all), err
}

// listDecided prints the decisions of a kind, a line each, and what was taken back
// as such.
func listDecided[T any](ctx context.Context, a *app, s *store.Store, kind, noun string, words func(*T) string) error {
	all, err := decided[T](ctx, s, kind)
	if err != nil {
		return err
	}
	var lines []string
	for i := range all {
		one := &all[i]
		line := ""
		if one.Takes != nil {
			line = fmt.Sprintf("%s %d withdrawn by the %s", noun, one.Takes.Withdraws, one.Takes.By)
		} else if line = words(&one.body); one.Withdrawn {
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
	before     func(ctx context.Context, s *store.Store, number int) error // refuses some; nil for none
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
			if err != nil || number < 1 || !slices.Contains(store.Roles, by) {
				return faults{hinted{fmt.Errorf("give the number of the %s to take back, and --by a role", w.noun), w.path + " shows them; roles: " + strings.Join(store.Roles, ", ")}}
			}
			s, err := l.open(cmd.Context(), a, false)
			if err != nil {
				return err
			}
			defer s.Close()
			if w.before != nil {
				if err := w.before(cmd.Context(), s, number); err != nil {
					return err
				}
			}
			err = s.TakeBack(cmd.Context(), w.kind, store.Withdrawal{Withdraws: number, By: by})
			var none *store.NotThere
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
	complete(cmd, "by", store.Roles...)
	return cmd
}
