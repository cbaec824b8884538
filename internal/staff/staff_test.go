package staff_test

import (
	"context"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/staff"
	"echotally/internal/store"
	"echotally/internal/store/keyfile"
)

// TestAnAccountIsOneMemberOfStaff: the latest holds, a member of staff has one account,
// and what is kept names neither.
func TestAnAccountIsOneMemberOfStaff(t *testing.T) {
	ctx, dir := context.Background(), t.TempDir()
	key, err := keyfile.Make(filepath.Join(dir, "key"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(ctx, filepath.Join(dir, "lab.db"), store.Options{Key: key})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	first, second := key.Pseudonym("Hallam^Rune"), key.Pseudonym("Ferrow^Lise")
	for _, one := range []struct {
		account, person string
		want            error
	}{
		{"Rune", first, nil}, {"Lise", first, staff.ErrTaken}, {"rune", second, nil}, {"Lise", first, nil}, {"Lise", second, staff.ErrTaken}, {"RUNE", "", nil}, {"Nobody", "", nil}, {"Other", "", nil},
	} {
		if err := staff.Tie(ctx, s, key, one.account, one.person, "Quill"); !errors.Is(err, one.want) {
			t.Errorf("%s as %s: %v", one.account, one.person, err)
		}
	}
	for account, want := range map[string]string{"rune": "", "LISE": first, "Quill": ""} {
		if got, err := staff.Of(ctx, s, key, account); got != want || err != nil {
			t.Errorf("%s is %q, %v", account, got, err)
		}
	}
	list, err := s.Decisions(ctx, "account of staff")
	if err != nil || len(list) != 6 {
		t.Fatalf("%d decisions, %v", len(list), err)
	}
	for _, d := range list {
		if text := strings.ToLower(string(d.Body)); strings.Contains(text, "rune") || strings.Contains(text, "lise") || strings.Contains(text, "quill") {
			t.Error("a decision names somebody")
		}
	}
}

// TestAPersonIsNamedAsReportsDo: a name in any spelling or a pseudonym, of who is there.
func TestAPersonIsNamedAsReportsDo(t *testing.T) {
	key, err := keyfile.Make(filepath.Join(t.TempDir(), "key"))
	if err != nil {
		t.Fatal(err)
	}
	first := key.Pseudonym("Hallam^Rune")
	known := map[string]bool{first: true}
	for _, text := range []string{first, " Hallam^Rune ", "rune hallam", "HALLAM, Rune"} {
		if got, err := staff.Person(key, text, known); got != first || err != nil {
			t.Errorf("%q is %q, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "^", "Ferrow^Lise", first + "a", "p-"} {
		if got, err := staff.Person(key, text, known); !errors.Is(err, staff.ErrNobody) {
			t.Errorf("%q is %q, %v", text, got, err)
		}
	}
}
