package web

import (
	"context"
	"encoding/json"
	"fmt"
	"html"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"echotally/internal/account"
	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/census"
	"echotally/internal/demo/labyear"
	"echotally/internal/store"
	"echotally/internal/store/lablist"
	"echotally/internal/web/frame"
)

// learner is who is learning in the year of the tests.
const learner = "Varrick^Sten"

// recordYear records a year of the invented lab with its list of staff.
func recordYear(t testing.TB, lab *frame.Lab) {
	t.Helper()
	dir := t.TempDir()
	if _, err := labyear.Write(dir, labyear.Options{Seed: 1, PerMonth: 18}); err != nil {
		t.Fatal(err)
	}
	list, err := os.ReadFile(filepath.Join(dir, "staff.csv"))
	if err != nil {
		t.Fatal(err)
	}
	staff := strings.Replace(string(list), learner+",sonographer", learner+",trainee", 1)
	if staff == string(list) {
		t.Fatalf("nobody learns:\n%s", list)
	}
	if _, err := lab.Ledger.Import(context.Background(), lablist.Roster, strings.NewReader(staff)); err != nil {
		t.Fatal(err)
	}
	records(t, lab, filepath.Join(dir, "studies"))
}

var pseudonyms = regexp.MustCompile(`p-[a-z0-9]{16}`)

// TestPeopleSeeTheirOwnFiguresOnly says who two accounts are, and holds what each is shown
// against what the audit counts of that person, and against the other's.
func TestPeopleSeeTheirOwnFiguresOnly(t *testing.T) {
	site, server := aYear.site(t)
	base := server.URL
	for _, name := range []string{"Quill", "Marrow", "Tallow"} {
		role := account.Sonographer
		if name == "Quill" {
			role = account.Administrator
		}
		if _, err := site.Accounts.Add(name, "four plain words here", []account.Role{role}); err != nil {
			t.Fatal(err)
		}
	}
	manager, first, second := newClient(site, account.QualityManager), newClient(site), newClient(site)
	first.cookie = site.Sessions.Begin("Marrow", []account.Role{account.Sonographer})
	second.cookie = site.Sessions.Begin("Tallow", []account.Role{account.Sonographer})
	fetched(t, manager, base+"/people")
	if _, page := fetched(t, first, base+"/own"); !strings.Contains(page, "not known yet which member of staff") {
		t.Error("somebody whom nobody knows is shown figures")
	}
	for account, person := range map[string]string{"Marrow": "Ines Marrow", "Tallow": site.Lab.Key.Pseudonym(learner)} {
		if status, page := post(t, manager, base+"/people", url.Values{"account": {account}, "person": {person}}); status != http.StatusSeeOther {
			t.Fatalf("%s: status %d: %s", account, status, page)
		}
	}
	if status, page := post(t, manager, base+"/people", url.Values{"account": {"Quill"}, "person": {"marrow ines"}}); status != http.StatusUnprocessableEntity || !strings.Contains(page, "Another account is this member") {
		t.Errorf("two accounts are one person: status %d", status)
	}
	if status, page := post(t, manager, base+"/people", url.Values{"account": {script}, "person": {script}}); status != http.StatusUnprocessableEntity || strings.Contains(page, "<script>alert") || !strings.Contains(page, "&lt;script&gt;") {
		t.Errorf("markup as a name: status %d", status)
	}
	one, other := site.Lab.Key.Pseudonym("Marrow^Ines"), site.Lab.Key.Pseudonym(learner)
	if ownFigures(t, site, first, base, one, "2026-Q3")+ownFigures(t, site, first, base, one, "2026")+ownFigures(t, site, second, base, other, "2026") == 0 {
		t.Error("no study asks for anything: nothing was tried")
	}
	if status, _ := fetched(t, first, base+"/own?period=2026-01-05+to+2026-01-20"); status != http.StatusUnprocessableEntity {
		t.Errorf("days of one's choice: status %d", status)
	}
	if status, page := post(t, manager, base+"/people", url.Values{"account": {"Tallow"}, "do": {"nobody"}}); status != http.StatusSeeOther {
		t.Errorf("status %d: %s", status, page)
	}
	if _, page := fetched(t, second, base+"/own"); !strings.Contains(page, "not known yet which member of staff") {
		t.Error("who is nobody any more is shown figures")
	}
	list, err := site.Lab.Ledger.Decisions(context.Background(), "account of staff")
	if err != nil || len(list) != 3 {
		t.Fatalf("%d decisions, %v", len(list), err)
	}
	for _, d := range list {
		if text := strings.ToLower(string(d.Body)); strings.Contains(text, "quill") || strings.Contains(text, "marrow") || strings.Contains(text, "tallow") {
			t.Error("a decision names a person or an account")
		}
	}
}

// ownFigures holds the page of own figures against what the audit counts of the person,
// and gives how many studies ask for something.
func ownFigures(t *testing.T, site *frame.Site, c *client, base, person, period string) (asks int) {
	t.Helper()
	status, page := fetched(t, c, base+"/own?period="+period)
	if status != http.StatusOK {
		t.Fatalf("status %d: %s", status, page)
	}
	page = strings.ReplaceAll(html.UnescapeString(page), "\u00a0", " ")
	if found := pseudonyms.FindString(page); found != "" {
		t.Errorf("the page shows the pseudonym %s", found)
	}
	opt := audit.Defaults()
	opt.Period, _ = calendar.ParsePeriod(period)
	studies, _, err := census.Studies(context.Background(), site.Lab.Ledger, opt.Period.Reach(), store.Filter{}, site.Lab.Desk().Library, nil)
	if err != nil {
		t.Fatal(err)
	}
	f, found := audit.NewFeedback(studies, opt, person)
	if !found || len(f.Own) == 0 {
		t.Fatal("the person has no studies: nothing was tried")
	}
	if curve := strings.Contains(page, "Learning curve"); curve != (f.Curve != nil) || curve && (!strings.Contains(page, "Sum at the end") || !strings.Contains(page, "<svg")) {
		t.Error("a learning curve is shown to who is not learning, or without its values, or not at all")
	}
	if learns := person == site.Lab.Key.Pseudonym(learner); period == "2026" && learns != (f.Curve != nil) {
		t.Error("who is learning has no curve: nothing was tried")
	}
	for _, o := range f.Own {
		if !strings.Contains(page, fmt.Sprintf("%d of %d", o.Own.Count, o.Own.Total)) && !strings.Contains(page, fmt.Sprintf("(%d/%d)", o.Own.Count, o.Own.Total)) {
			t.Errorf("the page does not show %s as %d of %d", o.Measure.Title, o.Own.Count, o.Own.Total)
		}
		if len(o.Lacking) != o.Own.Total-o.Own.Count {
			t.Errorf("%s: %d studies are listed of %d", o.Measure.Title, len(o.Lacking), o.Own.Total-o.Own.Count)
		}
		for _, e := range o.Lacking {
			if asks++; !strings.Contains(page, site.Lab.Study(e.UID)) {
				t.Errorf("a study that asks for something is not listed")
			}
		}
	}
	for i := range studies {
		if s := &studies[i]; s.Sonographer != person && strings.Contains(page, site.Lab.Study(s.UID)) {
			t.Error("the page leads to a study of somebody else")
		}
	}
	return asks
}

// TestPeopleStandSideBySideByCodes shows a quality manager funnels with their values and
// who is who, never both of one person.
func TestPeopleStandSideBySideByCodes(t *testing.T) {
	site, server := aYear.site(t)
	c := newClient(site, account.QualityManager)
	status, page := fetched(t, c, server.URL+"/people?period=2026")
	side, who, _ := strings.Cut(page, `id="who"`)
	if status != http.StatusOK || !strings.Contains(side, "<svg") || !strings.Contains(side, "Sonographer 1") || !strings.Contains(side, "Figures of this chart") {
		t.Errorf("no funnel is shown: status %d", status)
	}
	if pseudonyms.MatchString(side) || strings.Contains(who, "Sonographer 1") || !pseudonyms.MatchString(who) {
		t.Error("codes and pseudonyms stand together, or the list of staff cannot be chosen from")
	}
	for _, name := range []string{"Quill", "Marrow"} {
		if _, err := site.Accounts.Add(name, "four plain words here", []account.Role{account.QualityManager, account.Administrator}); err != nil {
			t.Fatal(err)
		}
	}
	if status, page := post(t, c, server.URL+"/people", url.Values{"account": {"quill"}, "person": {"Marrow^Ines"}}); status != http.StatusUnprocessableEntity || !strings.Contains(page, "Another quality manager says who you are") || !strings.Contains(page, `value="Marrow^Ines"`) {
		t.Errorf("a quality manager chooses whose figures to see: status %d", status)
	}
	if status, page := post(t, c, server.URL+"/people", url.Values{"account": {"Marrow"}, "person": {"Nobody^Here"}}); status != http.StatusUnprocessableEntity || !strings.Contains(page, "knows no such member") {
		t.Errorf("somebody who is not there: status %d", status)
	}
	if status, _ := post(t, c, server.URL+"/people", url.Values{"account": {"Marrow"}, "person": {"Marrow^Ines"}}); status != http.StatusSeeOther {
		t.Errorf("status %d", status)
	}
	events, err := site.Trail.Last(1)
	text, _ := json.Marshal(events)
	if err != nil || len(events) != 1 || events[0].ParticipantObjectID != "account Marrow" || pseudonyms.Match(text) {
		t.Errorf("%s, %v", text, err)
	}
}
