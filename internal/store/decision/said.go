package decision

import (
	"context"
	"encoding/json"
	"fmt"
)

// Said is a decision with what it says, and its place among its kind.
type Said[T any] struct {
	Placed
	Body T // zero for a withdrawal
}

// SaidOf reads what decisions of one kind say, given in their order; what was taken
// back and the withdrawals are among them.
func SaidOf[T any](list []Decision) ([]Said[T], error) {
	placed, err := Place(list)
	if err != nil {
		return nil, err
	}
	out := make([]Said[T], len(list))
	for i, p := range placed {
		out[i].Placed = p
		if p.Takes != nil {
			continue
		}
		if err := json.Unmarshal(p.Decision.Body, &out[i].Body); err != nil {
			return nil, fmt.Errorf("%s, decision %d of the ledger: %w", p.Kind, p.Number, err)
		}
	}
	return out, nil
}

// AllSaid reads the decisions of a kind as [SaidOf] does.
func AllSaid[T any](ctx context.Context, ledger Ledger, kind string) ([]Said[T], error) {
	list, err := ledger.Decisions(ctx, kind)
	if err != nil {
		return nil, err
	}
	return SaidOf[T](list)
}

// Standing reads those of a kind that count.
func Standing[T any](ctx context.Context, ledger Ledger, kind string) ([]T, error) {
	all, err := AllSaid[T](ctx, ledger, kind)
	return Counting(all), err
}

// Counting are those that count.
func Counting[T any](all []Said[T]) []T {
	return bodiesOf(all, func(one Said[T]) bool { return one.Counts() })
}

// EverSaid are also those that were taken back since.
func EverSaid[T any](all []Said[T]) []T {
	return bodiesOf(all, func(one Said[T]) bool { return one.Takes == nil })
}

func bodiesOf[T any](all []Said[T], keep func(Said[T]) bool) []T {
	var out []T
	for _, one := range all {
		if keep(one) {
			out = append(out, one.Body)
		}
	}
	return out
}
