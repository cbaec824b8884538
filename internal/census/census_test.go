package census_test

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"slices"
	"testing"

	"echotally/internal/calendar"
	"echotally/internal/census"
	"echotally/internal/ruletest"
	"echotally/internal/store"
)

// figures are studies without a report, and what going through them ends with.
type figures struct {
	studies int
	failure error
}

func (f *figures) CountedStudies(context.Context, store.Period, store.Filter, string, string) iter.Seq2[*store.Study, error] {
	return func(yield func(*store.Study, error) bool) {
		for i := range f.studies {
			if !yield(&store.Study{UID: fmt.Sprintf("2.25.%03d", (i*37)%f.studies)}, nil) {
				return
			}
		}
		if f.failure != nil {
			yield(nil, f.failure)
		}
	}
}

// TestEveryStudyIsCountedOnce: whoever of several workers takes which, all are there once,
// by their UIDs.
func TestEveryStudyIsCountedOnce(t *testing.T) {
	lib := ruletest.Load(t)
	for _, n := range []int{0, 1, 31, 32, 33, 500} {
		was, is, err := census.Studies(t.Context(), &figures{studies: n}, calendar.Period{}, store.Filter{}, lib, lib)
		if err != nil || len(was) != n || len(is) != n {
			t.Fatalf("%d studies: %d before, %d after, %v", n, len(was), len(is), err)
		}
		for i := range was {
			if want := fmt.Sprintf("2.25.%03d", i); was[i].UID != want || is[i].UID != want || !was[i].Unread {
				t.Errorf("%d studies: at %d stand %s and %s", n, i, was[i].UID, is[i].UID)
			}
		}
	}
}

// TestCountingEndsWithAFailure of the ledger or of who asks, and counts nothing.
func TestCountingEndsWithAFailure(t *testing.T) {
	lib := ruletest.Load(t)
	failure := errors.New("the file is damaged")
	was, is, err := census.Studies(t.Context(), &figures{studies: 100, failure: failure}, calendar.Period{}, store.Filter{}, lib, nil)
	if !errors.Is(err, failure) || slices.Concat(was, is) != nil {
		t.Errorf("%d studies, %v", len(was), err)
	}
	gone, cancel := context.WithCancelCause(t.Context())
	cancel(failure)
	if _, _, err := census.Studies(gone, &figures{studies: 100}, calendar.Period{}, store.Filter{}, lib, nil); !errors.Is(err, failure) {
		t.Errorf("given up: %v", err)
	}
}
