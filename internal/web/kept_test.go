package web

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"testing/fstest"

	"echotally/internal/account"
	"echotally/internal/finding"
	"echotally/internal/store/decision"
	"echotally/internal/web/frame"
)

// as signs somebody in.
func as(site *frame.Site, name string, roles ...account.Role) *client {
	c := newClient(site)
	c.cookie = site.Sessions.Begin(name, roles)
	return c
}

// TestAKeptPageShowsNobodyWhatIsForOthers has people of several roles and names look at
// one study after one another: each is shown what the role may see, by its own name, and
// the access log has every look.
func TestAKeptPageShowsNobodyWhatIsForOthers(t *testing.T) {
	site, server := small.site(t)
	study := site.Lab.Study(richest(t, site.Lab, finding.Completeness))
	address := server.URL + study
	uid, err := site.Lab.UID(context.Background(), strings.TrimPrefix(study, "/study/"))
	if err != nil {
		t.Fatal(err)
	}
	who, err := site.Lab.Ledger.Identity(context.Background(), uid)
	id := who.PatientID.Reveal()
	if err != nil || id == "" {
		t.Fatal("the study names nobody: nothing can be tried", err)
	}
	people := []*client{
		as(site, "Quill", account.Reader), as(site, "Marrow", account.Reader), as(site, "Hallam", account.QualityManager), as(site, "Tallow", account.Sonographer), as(site, "Varrick", account.QualityManager),
	}
	names, roles := []string{"Quill", "Marrow", "Hallam", "Tallow", "Varrick"}, []string{"reader", "reader", "quality-manager", "sonographer", "quality-manager"}
	for range 2 {
		for i, c := range people {
			named := read(t, c.ask(t, get(t, address+"?names=1")))
			page := read(t, c.ask(t, get(t, address)))
			mayName := roles[i] != "quality-manager"
			if strings.Contains(named, id) != mayName || strings.Contains(page, id) {
				t.Errorf("%s is shown whose study it is unasked, or in a role that is not", names[i])
			}
			if strings.Contains(page, "Show the patient") != mayName || !strings.Contains(page, `<input type="hidden" name="role" value="`+roles[i]+`">`) {
				t.Errorf("%s is shown the page of another role", names[i])
			}
			for k, name := range names {
				if strings.Contains(page, "<span>"+name+"</span>") != (k == i) {
					t.Errorf("the page of %s has the name of %s, or not the own one", names[i], name)
				}
			}
		}
	}
	events, err := site.Trail.Last(100)
	if err != nil || len(events) != 20 {
		t.Fatalf("%d of 20 looks were logged, %v", len(events), err)
	}
	for n, e := range events { // the latest first
		i := len(people) - 1 - n/2%len(people)
		want := "Procedure Record"
		if n%2 == 1 && roles[i] != "quality-manager" {
			want = "Patient Record"
		}
		if string(e.EventID) != want || e.UserID != names[i] || e.RoleIDCode != roles[i] || e.ParticipantObjectID != uid {
			t.Errorf("look %d: %+v", n, e)
		}
	}
	site.Trail.Close()
	if answer := people[0].ask(t, get(t, address)); answer.StatusCode != http.StatusInternalServerError || strings.Contains(read(t, answer), "Echo gap sheet") {
		t.Error("a kept page that cannot be logged is shown")
	}
}

// TestTheNextLookShowsWhatHasChanged: a reason, its withdrawal, another study, rules,
// roles, and that somebody has signed out.
func TestTheNextLookShowsWhatHasChanged(t *testing.T) {
	site, base := recorded(t)
	c, manager := as(site, "Quill", account.Sonographer), as(site, "Marrow", account.QualityManager)
	all, err := site.Lab.Ledger.Arrivals(context.Background(), 1000)
	if err != nil {
		t.Fatal(err)
	}
	study, rule := "", ""
	for _, a := range all {
		for i := range a.Rules {
			if outcome, severity := a.Outcome(i); outcome == finding.Fail && severity != finding.Information && a.Rules[i].Kind == finding.Completeness && !a.Rules[i].PerLab {
				study, rule = site.Lab.Study(a.UID), a.Rules[i].Identifier
			}
		}
	}
	if _, page := fetched(t, c, base+study); rule == "" || !strings.Contains(page, `<option value="`+rule+`">`) {
		t.Fatal("nothing is missing anywhere: nothing can be tried")
	}
	look := func(c *client, path string) string { _, page := fetched(t, c, base+path); return page }
	before := look(c, "/arrivals")
	if status, text := post(t, c, base+study+"/reason", url.Values{"rule": {rule}, "reason": {"no-time"}, "role": {"sonographer"}}); status != http.StatusSeeOther {
		t.Fatalf("status %d: %s", status, text)
	}
	if page := look(c, study); !strings.Contains(page, "no time, ") || strings.Contains(page, `<option value="`+rule+`">`) {
		t.Error("the sheet does not show the reason")
	}
	if after := look(c, "/arrivals"); after == before || !strings.Contains(after, "with a reason") {
		t.Error("the list of arrivals does not show the reason")
	}
	if status, text := post(t, c, base+study+"/reason/withdraw", url.Values{"number": {"1"}}); status != http.StatusSeeOther {
		t.Fatalf("status %d: %s", status, text)
	}
	if page := look(c, study); !strings.Contains(page, `<option value="`+rule+`">`) {
		t.Error("the sheet does not show that the reason was withdrawn")
	}

	listed := strings.Count(look(c, "/arrivals"), "<li data-key")
	fill(t, site.Lab)
	if now := strings.Count(look(c, "/arrivals"), "<li data-key"); now <= listed {
		t.Errorf("%d studies came after %d: the list does not show them", now, listed)
	}

	const name = "right-ventricle/tapse-present"
	look(manager, "/rules-changes")
	if status, text := post(t, manager, base+"/rules/"+name+"/propose", url.Values{"severity": {"error"}, "reason": {"agreed upon in the lab"}}); status != http.StatusSeeOther {
		t.Fatalf("status %d: %s", status, text)
	}
	if !strings.Contains(look(manager, "/rules-changes"), "agreed upon in the lab") {
		t.Error("the page of changes does not show what was proposed")
	}
	if status, text := post(t, as(site, "Hallam", account.Reader), base+"/rules-changes/1", url.Values{"event": {"adopted"}}); status != http.StatusSeeOther {
		t.Fatalf("status %d: %s", status, text)
	}
	if !strings.Contains(look(c, study), "Found by other rules") {
		t.Error("the sheet does not show that other rules are in force")
	}

	again := as(site, "Quill", account.Reader)
	if page := look(again, study); !strings.Contains(page, `<input type="hidden" name="role" value="reader">`) {
		t.Error("another role is shown the page of the one before")
	}
	if status, _ := fetched(t, again, base+"/lab"); status != http.StatusForbidden {
		t.Errorf("a page of the quality manager: status %d", status)
	}
	post(t, c, base+"/sign-out", nil)
	if answer := c.ask(t, get(t, base+study)); answer.StatusCode != http.StatusSeeOther {
		t.Errorf("who signed out is shown a page: status %d", answer.StatusCode)
	}
}

// TestAPageIsMadeOnceForAllWhoMaySeeIt counts how often a page is made, also when many
// ask for it at a time, and that one with a name on it is made for each name.
func TestAPageIsMadeOnceForAllWhoMaySeeIt(t *testing.T) {
	site, server := small.site(t)
	var made, named atomic.Int64
	ready := make(chan struct{})
	page := func(c *frame.Call, count *atomic.Int64, text string) error {
		count.Add(1)
		return c.Page(frame.View{Title: "Counted", Name: "counted", Data: text})
	}
	routes := []frame.Route{
		{Method: "GET", Pattern: "/counted", Allow: frame.SignedIn(), Handle: frame.Kept(func(c *frame.Call) error { return page(c, &made, "for all") })},
		{Method: "GET", Pattern: "/named", Allow: frame.SignedIn(), Handle: frame.Kept(func(c *frame.Call) error { name := c.Name(); return page(c, &named, "only for "+name) })},
		{Method: "GET", Pattern: "/counting", Allow: frame.SignedIn(), Handle: frame.Kept(func(c *frame.Call) error {
			_, err := c.Made("slow", func(context.Context) (any, error) { <-ready; return 1, nil })
			return page(c, &made, fmt.Sprint("counting: ", frame.BeingMade(err)))
		})},
		{Method: "GET", Pattern: "/elsewhere", Allow: frame.SignedIn(), Handle: frame.Kept(func(c *frame.Call) error { return c.Go("/counted") })},
		{Method: "GET", Pattern: "/refused", Allow: frame.SignedIn(), Handle: frame.Kept(func(c *frame.Call) error { return frame.Bad("Not so.", "") })},
	}
	text := `{{define "main"}}<p>{{.Data}}</p>{{end}}`
	if err := site.Start(routes, frame.Templates{Files: fstest.MapFS{"templates/counted.html.tmpl": {Data: []byte(text)}}}); err != nil {
		t.Fatal(err)
	}
	site.Unlimited()
	readers := []*client{as(site, "Quill", account.Reader), as(site, "Marrow", account.Reader)}
	var wait sync.WaitGroup
	for n := range 40 {
		wait.Go(func() {
			if body := read(t, readers[n%2].ask(t, get(t, server.URL+"/counted"))); !strings.Contains(body, "<p>for all</p>") {
				t.Errorf("%.500s", body)
			}
			if body := read(t, readers[n%2].ask(t, get(t, server.URL+"/named"))); !strings.Contains(body, "<p>only for "+[]string{"Quill", "Marrow"}[n%2]+"</p>") {
				t.Errorf("%.500s", body)
			}
		})
	}
	wait.Wait()
	if made.Load() != 1 || named.Load() > 3 {
		t.Errorf("made %d times for all, %d times for two names", made.Load(), named.Load())
	}
	if _, err := site.Lab.Ledger.Decide(context.Background(), "test", func([]decision.Decision) (any, error) { return 1, nil }); err != nil {
		t.Fatal(err)
	}
	read(t, readers[0].ask(t, get(t, server.URL+"/counted")))
	read(t, as(site, "Hallam", account.Sonographer).ask(t, get(t, server.URL+"/counted")))
	if made.Load() != 3 {
		t.Errorf("made %d times, of 3 for a change and another role", made.Load())
	}
	for _, still := range []bool{true, false} {
		if body := read(t, readers[0].ask(t, get(t, server.URL+"/counting"))); !strings.Contains(body, fmt.Sprint("counting: ", still)) {
			t.Errorf("what is not counted yet is kept, or not shown: %.500s", body)
		}
		if still {
			close(ready)
		}
	}
	for path, want := range map[string]int{"/elsewhere": http.StatusSeeOther, "/refused": http.StatusUnprocessableEntity} {
		for range 2 {
			if answer := readers[0].ask(t, get(t, server.URL+path)); answer.StatusCode != want {
				t.Error(fmt.Sprint(path, ": status ", answer.StatusCode))
			}
		}
	}
}
