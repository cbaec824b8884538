package store

import (
	"context"
	"errors"
	"testing"

	"echotally/internal/store/decision"
)

// TestDecisionsFollowEachOther: what is decided may rest on what was decided
// before, is proved with the ledger, and a decision that is refused leaves none.
func TestDecisionsFollowEachOther(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	for range 2 {
		_, err := b.store.Decide(ctx, "draw", func(before []decision.Decision) (any, error) { return map[string]int{"draw": len(before) + 1}, nil })
		if err != nil {
			t.Fatal(err)
		}
	}
	if _, err := b.store.Decide(ctx, "draw", func([]decision.Decision) (any, error) { return nil, errors.New("no such period") }); err == nil {
		t.Error("a decision that cannot be made was recorded")
	}
	if _, err := b.store.Decide(ctx, "action", func(before []decision.Decision) (any, error) { return len(before), nil }); err != nil {
		t.Fatal(err)
	}
	draws, err := b.store.Decisions(ctx, "draw")
	if err != nil || len(draws) != 2 || string(draws[1].Body) != `{"draw":2}` || draws[1].Kind != "draw" || draws[1].At.IsZero() {
		t.Errorf("%+v, %v", draws, err)
	}
	b.holds()
	for _, change := range []string{"UPDATE decision SET body = '{}'", "DELETE FROM decision"} {
		if _, err := b.store.db.Exec(change); err == nil {
			t.Errorf("%s was let through", change)
		}
	}
}
