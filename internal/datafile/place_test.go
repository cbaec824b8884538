package datafile_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"echotally/internal/datafile"
	"echotally/internal/datafile/fault"
)

func TestFaultsOfAFileAreBounded(t *testing.T) {
	const all = 250
	places := datafile.NewPlaces("x.yaml", []byte(strings.Repeat("- a\n", all)))
	other := errors.New("other")
	faults := []error{other}
	for i := range all {
		faults = append(faults, places.Fault(fmt.Sprintf("$[%d]", i), "wrong", ""))
	}
	joined := fault.Join(faults).(interface{ Unwrap() []error }).Unwrap()
	if len(joined) != 102 || joined[0] != other {
		t.Fatalf("%d faults, first %v", len(joined), joined[0])
	}
	for i, err := range joined[1:101] {
		if e := err.(*fault.Error); e.Line != i+1 || e.Column != 3 {
			t.Errorf("fault %d at %d:%d", i, e.Line, e.Column)
		}
	}
	if last := joined[101].(*fault.Error); last.Message != "and 150 more" || last.More != 150 {
		t.Errorf("last: %v", last)
	}
	if err := fault.Join(nil); err != nil {
		t.Errorf("no faults: %v", err)
	}
}
