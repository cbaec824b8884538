package store

import (
	"context"
	"errors"
	"testing"

	"echotally/internal/store/decision"
)

// TestWhatIsTakenBackCountsNoLonger: a withdrawal is a decision like any other, takes
// back what there is, once, and what was taken back is still there to be seen.
func TestWhatIsTakenBackCountsNoLonger(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	for _, title := range []string{"one", "two"} {
		if _, err := b.store.Decide(ctx, "meeting", func([]decision.Decision) (any, error) { return map[string]string{"title": title}, nil }); err != nil {
			t.Fatal(err)
		}
	}
	if err := decision.TakeBack(ctx, b.store, "meeting", decision.Withdrawal{Withdraws: 1, By: "quality-manager"}); err != nil {
		t.Fatal(err)
	}
	for place, withdrawn := range map[int]bool{0: false, 1: true, 3: false, 4: false} {
		var none *decision.NotThere
		if err := decision.TakeBack(ctx, b.store, "meeting", decision.Withdrawal{Withdraws: place, By: "quality-manager"}); !errors.As(err, &none) || none.Withdrawn != withdrawn {
			t.Errorf("taking back %d: %v", place, err)
		}
	}
	list, err := b.store.Decisions(ctx, "meeting")
	if err != nil {
		t.Fatal(err)
	}
	placed, err := decision.Place(list)
	if err != nil || len(placed) != 3 {
		t.Fatalf("%d decisions, %v", len(placed), err)
	}
	if placed[0].Counts() || !placed[0].Withdrawn || !placed[1].Counts() || placed[2].Counts() || placed[2].Takes.By != "quality-manager" || placed[2].Takes.Withdraws != 1 {
		t.Errorf("%+v", placed)
	}
	b.holds()
}
