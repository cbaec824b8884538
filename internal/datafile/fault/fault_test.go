package fault_test

import (
	"errors"
	"slices"
	"testing"

	"echotally/internal/datafile/fault"
)

func TestByPlace(t *testing.T) {
	at := func(file string, line, column int) error {
		return &fault.Error{File: file, Line: line, Column: column}
	}
	other := errors.New("other")
	all := []error{other, at("b", 1, 1), at("a", 2, 1), at("a", 1, 9), at("a", 1, 2)}
	slices.SortStableFunc(all, fault.ByPlace)
	want := []error{all[0], all[1], all[2], all[3], other}
	for i := range all[:4] {
		if all[i] == other {
			t.Fatalf("order %v", all)
		}
	}
	if !slices.Equal(all, want) || all[0].(*fault.Error).Column != 2 || all[3].(*fault.Error).File != "b" {
		t.Errorf("order %v", all)
	}
}
