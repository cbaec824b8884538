package web

import (
	"context"
	"database/sql"
	"fmt"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"echotally/internal/account"
	"echotally/internal/library"
	"echotally/internal/library/draft"
	"echotally/internal/store/decision"
	"echotally/rules"
)

// TestUnjudgedStudiesAreCountedOnceAChange has judgements of the ledger changed behind
// its back, which only a new count can tell: looks at an unchanged ledger do not count,
// those after other rules, a new judgement or any other record do.
func TestUnjudgedStudiesAreCountedOnceAChange(t *testing.T) {
	ctx, folder := context.Background(), ""
	site, server := small.site(t, func(p *Pages) { folder = p.Health.Folders["ledger"] })
	manager := newClient(site, account.QualityManager)
	holds := func(when string, left int) {
		t.Helper()
		health, changes := "All studies with a report stand", ""
		switch left {
		case 0:
		case 1:
			health, changes = "1 study stands as other rules judged it", "1 recorded study stands as other rules judged it"
		default:
			health, changes = fmt.Sprint(left, " studies stand as other rules judged them"), fmt.Sprint(left, " recorded studies stand as other rules judged them")
		}
		if _, page := fetched(t, manager, server.URL+"/health"); !strings.Contains(page, health) {
			t.Errorf("%s: Health does not say %q", when, health)
		}
		if _, page := fetched(t, manager, server.URL+"/rules-changes"); !strings.Contains(page, changes) || left == 0 && strings.Contains(page, "as other rules judged") {
			t.Errorf("%s: the changes do not say %q", when, changes)
		}
	}
	db, err := sql.Open("sqlite", filepath.Join(folder, "lab.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var studies int
	if err := db.QueryRow("SELECT count(DISTINCT study_id) FROM judgement").Scan(&studies); err != nil || studies < 3 {
		t.Fatalf("%d studies are judged, %v", studies, err)
	}
	before := site.Lab.Desk().Library
	holds("recorded", 0)
	if _, err := db.Exec("UPDATE judgement SET ruleset = 'others' WHERE id = (SELECT min(id) FROM judgement)"); err != nil {
		t.Fatal(err)
	}
	holds("unchanged, as far as the ledger says", 0)
	if _, err := site.Lab.Ledger.Decide(ctx, "test", func([]decision.Decision) (any, error) { return 1, nil }); err != nil {
		t.Fatal(err)
	}
	holds("recorded something", 1)

	file := before.Rules[0].File
	layer, err := draft.Draft{Name: file.Identifier + ".yaml", Text: fmt.Sprintf("identifier: %s\nderivedFrom: %q\napprovalDate: \"2026-01-01\"\nreviewer: quality-manager\nstatus: retired\n", file.Identifier, file.Identifier+"@"+file.Version)}.Layer()
	if err != nil {
		t.Fatal(err)
	}
	after, err := library.Load(library.Settings{NoExamples: true}, rules.FS, layer)
	if err != nil {
		t.Fatal(err)
	}
	site.Lab.Work.Renew(after)
	holds("other rules", studies)
	site.Lab.Work.Renew(before)
	holds("the rules of before", 1)

	if status, _ := post(t, manager, server.URL+"/health/anew", nil); status != http.StatusSeeOther {
		t.Fatalf("not begun: status %d", status)
	}
	for page := ""; !strings.Contains(page, "judged by the rules in force."); time.Sleep(20 * time.Millisecond) {
		if _, page = fetched(t, manager, server.URL+"/health"); t.Context().Err() != nil {
			t.Fatal(page)
		}
	}
	holds("judged anew", 0)
}
