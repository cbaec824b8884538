package check

import (
	"testing"

	"echotally/internal/answer"
)

func TestSharedFaultsAreToldOnce(t *testing.T) {
	var a alikeFaults
	for _, name := range []string{"Élan", "b", "c", "d", "e", "b"} {
		a.add(name, "no scale")
	}
	a.add("f", "empty")
	if got := a.told(); len(got) != 2 || got[0] != "Élan, b, c and 2 more: no scale" || got[1] != "f: empty" {
		t.Errorf("%q", got)
	}
	if got := answer.Capital("élan: empty"); got != "Élan: empty" {
		t.Error(got)
	}
}
