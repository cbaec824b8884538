package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"html"
	"io"
	"io/fs"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"echotally/internal/account"
	"echotally/internal/actionlog"
	"echotally/internal/audit"
	"echotally/internal/demo/casebook"
	"echotally/internal/desk"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/web/action"
	"echotally/internal/web/code"
	"echotally/internal/web/evidence"
	"echotally/internal/web/frame"
	"echotally/internal/web/health"
	"echotally/internal/web/people"
	"echotally/internal/web/period"
	"echotally/internal/web/reading"
	"echotally/internal/web/rulebook"
	"echotally/rules"
)

// ourLab names the folder of the lab's own files to the tests.
const ourLab = "OUR_LAB"

// labPages are those of what is looked at together, with a folder of the lab's own.
func labPages(t testing.TB, dir string, work *desk.InForce, pages *Pages) {
	t.Helper()
	entries := func(list []decision.Decision) ([]actionlog.Entry, error) {
		out := make([]actionlog.Entry, len(list))
		for i, d := range list {
			if err := json.Unmarshal(d.Body, &out[i]); err != nil {
				return nil, err
			}
		}
		return out, nil
	}
	site := filepath.Join(dir, "our-lab")
	t.Setenv(ourLab, site)
	load := func(settings library.Settings, more ...fs.FS) (*library.Library, error) {
		layers := []fs.FS{rules.FS}
		if _, err := os.Stat(site); err == nil {
			layers = append(layers, os.DirFS(site))
		}
		return library.Load(settings, append(layers, more...)...)
	}
	fault, began := "", time.Now()
	renew := func() error {
		set, err := load(library.Settings{})
		if fault = ""; err != nil {
			fault = err.Error()
			return err
		}
		work.Renew(set)
		return nil
	}
	pages.Health.Renew, pages.Health.Rules = renew, func() health.Rules {
		lib := work.Desk().Library
		return health.Rules{Version: lib.Version, Count: len(lib.Rules), Own: len(lib.Own), Since: began, Tried: began, Fault: fault}
	}
	pages.Period = &period.Pages{Choices: audit.Defaults(), Actions: func(ctx context.Context, s *store.Store) ([]actionlog.Action, error) {
		list, err := s.Decisions(ctx, "action")
		if err != nil {
			return nil, err
		}
		all, err := entries(list)
		if err != nil {
			return nil, err
		}
		return actionlog.Actions(all)
	}}
	pages.Rules = &rulebook.Pages{Load: load, Shipped: shipped, Renew: renew, Site: site, Period: pages.Period}
	pages.Evidence = &evidence.Pages{
		Agreement: agreed,
		Period:    pages.Period,
	}
	pages.People = &people.Pages{Period: pages.Period}
	pages.Reading = &reading.Pages{Items: items}
	pages.Binder, pages.Meeting = binderPages(pages.Period), meetingPages(pages.Period)
	pages.Code = &code.Pages{Load: load, Renew: renew, Site: site, Period: pages.Period}
	pages.Action = &action.Pages{Period: pages.Period, Add: func(ctx context.Context, s *store.Store, e actionlog.Entry) (actionlog.Entry, error) {
		_, err := s.Decide(ctx, "action", func(before []decision.Decision) (any, error) {
			all, err := entries(before)
			if err != nil {
				return nil, err
			}
			e, err = actionlog.Next(all, e)
			return e, err
		})
		return e, err
	}}
}

// recorded is a site with some studies of the invented lab.
func recorded(t *testing.T) (*frame.Site, string) {
	t.Helper()
	site, server := twelfth.site(t)
	return site, server.URL
}

// everyTwelfth records every twelfth study of the invented lab.
func everyTwelfth(t testing.TB, lab *frame.Lab) {
	t.Helper()
	dir := t.TempDir()
	for i, c := range casebook.Studies(casebook.Options{Seed: 1}) {
		if i%12 != 0 {
			continue
		}
		for _, o := range c.Objects {
			b, err := o.Bytes()
			name := filepath.Join(dir, c.Truth.Folder, o.Name)
			if err = errors.Join(err, os.MkdirAll(filepath.Dir(name), 0o700), os.WriteFile(name, b, 0o600)); err != nil {
				t.Fatal(err)
			}
		}
	}
	records(t, lab, dir)
}

// fetched asks for a page until it is made.
func fetched(t *testing.T, c *client, address string) (int, string) {
	t.Helper()
	for range 100 {
		r, _ := http.NewRequest(http.MethodGet, address, nil)
		answer := c.ask(t, r)
		body, err := io.ReadAll(answer.Body)
		if err != nil {
			t.Fatal(err)
		}
		if answer.Header.Get("Refresh") == "" {
			return answer.StatusCode, string(body)
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("%s is never made", address)
	return 0, ""
}

func post(t *testing.T, c *client, address string, form url.Values) (int, string) {
	t.Helper()
	r, _ := http.NewRequest(http.MethodPost, address, strings.NewReader(form.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	answer := c.ask(t, r)
	body, _ := io.ReadAll(answer.Body)
	return answer.StatusCode, string(body)
}

var (
	studiesLink = regexp.MustCompile(`<a href="(/lab/studies[^"]*)"[^>]*>([^<]+)</a>`)
	ofStudies   = regexp.MustCompile(`: (\d+) stud`)
	shareText   = regexp.MustCompile(`\((\d+)/(\d+)\)`)
	countText   = regexp.MustCompile(`^(\d+)( not met)?$`)
)

// TestEveryNumberOpensItsStudies holds the studies behind each linked number of the
// page of a period against the number.
func TestEveryNumberOpensItsStudies(t *testing.T) {
	site, base := recorded(t)
	c := newClient(site, account.QualityManager)
	status, page := fetched(t, c, base+"/lab")
	if status != http.StatusOK {
		t.Fatalf("status %d", status)
	}
	seen := 0
	for _, link := range studiesLink.FindAllStringSubmatch(page, -1) {
		address, text := html.UnescapeString(link[1]), strings.ReplaceAll(html.UnescapeString(link[2]), "\u00a0", " ")
		want := ""
		if m := shareText.FindStringSubmatch(text); m != nil {
			if want = m[2]; strings.Contains(address, "as=not-met") {
				want = m[1]
			}
			if strings.Contains(address, "cause=") { // contradictions of a slip, of which a study may have several
				continue
			}
		} else if m := countText.FindStringSubmatch(text); m != nil {
			want = m[1]
		} else {
			continue
		}
		if seen++; seen > 60 {
			break
		}
		_, list := fetched(t, c, base+address)
		if got := ofStudies.FindStringSubmatch(list); got == nil || got[1] != want {
			t.Errorf("%s says %q and opens %v", address, text, got)
		}
	}
	if seen < 20 {
		t.Errorf("only %d numbers can be opened", seen)
	}
}

// TestAuditLeavesAsDocuments asks for each document of a period.
func TestAuditLeavesAsDocuments(t *testing.T) {
	site, base := recorded(t)
	c := newClient(site, account.QualityManager)
	fetched(t, c, base+"/lab")
	for name, begins := range map[string]string{"pdf": "%PDF-", "xlsx": "PK", "json": "{", "csv?table=headlines": ""} {
		if status, body := fetched(t, c, base+"/lab/audit/"+name); status != http.StatusOK || !strings.HasPrefix(body, begins) || len(body) < 200 {
			t.Errorf("%s: status %d, %d bytes", name, status, len(body))
		}
	}
	if status, _ := fetched(t, c, base+"/lab/audit/exe"); status != http.StatusNotFound {
		t.Errorf("a document of an unknown kind: status %d", status)
	}
	if status, _ := fetched(t, c, base+"/lab?period=2026-13"); status != http.StatusUnprocessableEntity {
		t.Errorf("a month there is none of: status %d", status)
	}
}

// TestMeasuresAreAnsweredAsFHIR asks as a system does: again while it is being counted.
func TestMeasuresAreAnsweredAsFHIR(t *testing.T) {
	site, base := recorded(t)
	c := newClient(site, account.QualityManager)
	ask := func(path string) (int, string) {
		for range 100 {
			answer := c.ask(t, get(t, base+path))
			if body := read(t, answer); answer.StatusCode != http.StatusServiceUnavailable {
				return answer.StatusCode, body
			}
			time.Sleep(50 * time.Millisecond)
		}
		t.Fatalf("%s is never counted", path)
		return 0, ""
	}
	stats, err := site.Lab.Ledger.Statistics(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	status, body := ask("/fhir/MeasureReport?period=" + stats.Last[:4])
	var found struct {
		ResourceType string
		Total        int
	}
	if err := json.Unmarshal([]byte(body), &found); err != nil || status != http.StatusOK || found.ResourceType != "Bundle" || found.Total < 5 {
		t.Errorf("status %d, %v: %.300s", status, err, body)
	}
	for path, want := range map[string]int{"/fhir/metadata": http.StatusOK, "/fhir/MeasureReport?period=1999": http.StatusOK, "/fhir/MeasureReport": http.StatusBadRequest, "/fhir/Patient": http.StatusNotFound} {
		if status, body := ask(path); status != want {
			t.Errorf("%s: status %d: %.300s", path, status, body)
		}
	}
}

// TestAChangeOfARuleNeedsTwo goes the whole way of a change: looked at, proposed,
// refused to who proposed it, adopted by another, written to the lab's folder.
func TestAChangeOfARuleNeedsTwo(t *testing.T) {
	site, base := recorded(t)
	first := newClient(site, account.QualityManager)
	const name = "right-ventricle/tapse-present"
	if status, page := fetched(t, first, base+"/rules?q=tapse"); status != http.StatusOK || !strings.Contains(page, "/rules/"+name) {
		t.Fatalf("the rule is not found: status %d", status)
	}
	form := url.Values{"severity": {"error"}, "reason": {"agreed upon in the lab"}}
	if status, page := fetched(t, first, base+"/rules/"+name+"/what-if?severity=error"); status != http.StatusOK || !strings.Contains(page, "severity error in place of") {
		t.Fatalf("the effect is not shown: status %d\n%s", status, page)
	}
	if status, page := post(t, first, base+"/rules/"+name+"/propose", form); status != http.StatusSeeOther {
		t.Fatalf("not proposed: status %d\n%s", status, page)
	}
	adopt := url.Values{"event": {"adopted"}}
	if status, _ := post(t, first, base+"/rules-changes/1", adopt); status != http.StatusUnprocessableEntity {
		t.Errorf("who proposed it adopts it: status %d", status)
	}
	second := newClient(site)
	second.cookie = site.Sessions.Begin("Marrow", []account.Role{account.Reader})
	if status, page := post(t, second, base+"/rules-changes/1", adopt); status != http.StatusSeeOther {
		t.Fatalf("not adopted: status %d\n%s", status, page)
	}
	if status, _ := post(t, second, base+"/rules-changes/1", url.Values{"event": {"declined"}}); status != http.StatusUnprocessableEntity {
		t.Errorf("what was adopted is declined: status %d", status)
	}
	set, err := library.Load(library.Settings{NoExamples: true}, rules.FS, os.DirFS(os.Getenv(ourLab)))
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range set.Rules {
		if r.File.Identifier == name && (r.File.Severity != "error" || !r.Site) {
			t.Errorf("the rule is %s after its change", r.File.Severity)
		}
	}
	inForce(t, site, second, base, name)
	// a second change would take the place of the first
	if status, _ := post(t, first, base+"/rules/"+name+"/propose", url.Values{"severity": {"information"}, "reason": {"thought better of"}}); status != http.StatusUnprocessableEntity {
		t.Errorf("a second change is proposed: status %d", status)
	}
	list, err := site.Lab.Ledger.Decisions(context.Background(), "rule-change")
	if err != nil || len(list) != 2 {
		t.Fatalf("%d decisions, %v", len(list), err)
	}
	for _, d := range list {
		if strings.Contains(string(d.Body), "Quill") || strings.Contains(string(d.Body), "Marrow") {
			t.Error("a decision names a person")
		}
	}
}

// inForce holds that an adopted change judges what comes in from then on, that what was
// judged before stays, that the page says who adopted it and why, and that a fault in the
// folder leaves all that as it is and shows on Health.
func inForce(t *testing.T, site *frame.Site, c *client, base, name string) {
	t.Helper()
	before, err := site.Lab.Ledger.Arrivals(context.Background(), 1000)
	if err != nil {
		t.Fatal(err)
	}
	severities := func() map[finding.Severity]int {
		out := map[finding.Severity]int{}
		all, err := site.Lab.Ledger.Arrivals(context.Background(), 1000)
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range all {
			for i := range a.Rules {
				if a.Rules[i].Identifier == name {
					out[a.Rules[i].Severity]++
				}
			}
		}
		return out
	}
	if got := severities(); got[finding.Error] > 0 || got[finding.Warning] != len(before) {
		t.Errorf("what was judged before has changed: %v", got)
	}
	late := casebook.Studies(casebook.Options{Seed: 2})
	dir := t.TempDir()
	for i := range late[:6] {
		for _, o := range late[i].Objects {
			b, err := o.Bytes()
			if err = errors.Join(err, os.WriteFile(filepath.Join(dir, fmt.Sprint(i)+o.Name), b, 0o600)); err != nil {
				t.Fatal(err)
			}
		}
	}
	record := &desk.Recorder{InForce: site.Lab.Work, Ledger: site.Lab.Ledger, Desk: site.Lab.Desk(), Tell: func(*store.Receipt) error { return nil }, Failed: func(uid, reason string) { t.Errorf("%s: %s", uid, reason) }}
	if err := record.Paths(context.Background(), []string{dir}); err != nil {
		t.Fatal(err)
	}
	if got := severities(); got[finding.Error] != 6 || got[finding.Warning] != len(before) {
		t.Errorf("of %d studies and %d more, the rule has %v", len(before), 6, got)
	}
	judgedAnew(t, site, base, len(before))
	if got := severities(); got[finding.Error] != len(before)+6 || got[finding.Warning] != 0 {
		t.Errorf("judged anew, of %d studies and %d more, the rule has %v", len(before), 6, got)
	}
	for _, want := range []string{"warning to error", "Marrow (reader); proposed by", "agreed upon in the lab"} {
		if status, page := fetched(t, c, base+"/rules-changes"); status != http.StatusOK || !strings.Contains(page, want) {
			t.Errorf("status %d; the differences do not say %q", status, want)
		}
	}
	faulty := filepath.Join(os.Getenv(ourLab), "right-ventricle", "faulty.yaml")
	if err := os.WriteFile(faulty, []byte("identifier: right-ventricle/faulty\nseverity: none\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	manager, digest := newClient(site, account.QualityManager), site.Lab.Desk().Library.Digest
	if status, _ := post(t, manager, base+"/health/rules", nil); status != http.StatusSeeOther || site.Lab.Desk().Library.Digest != digest {
		t.Errorf("status %d, or the rules in force changed by a faulty file", status)
	}
	if _, page := fetched(t, manager, base+"/health"); !strings.Contains(page, "with a fault") || !strings.Contains(page, "right-ventricle/faulty.yaml") {
		t.Error("Health does not say that the rules of before are in force")
	}
	if err := os.Remove(faulty); err != nil {
		t.Fatal(err)
	}
	post(t, manager, base+"/health/rules", nil)
	if _, page := fetched(t, manager, base+"/health"); strings.Contains(page, "with a fault") {
		t.Error("Health does not say that the fault is gone")
	}
}

// judgedAnew: Health and the page of changes say how many studies stand as they were judged
// before, and one press has them judged, with how far it is.
func judgedAnew(t *testing.T, site *frame.Site, base string, studies int) {
	t.Helper()
	ctx, manager := context.Background(), newClient(site, account.QualityManager)
	says := fmt.Sprintf("%d recorded studies stand as other rules judged them", studies)
	if _, page := fetched(t, manager, base+"/rules-changes"); !strings.Contains(page, says) || !strings.Contains(page, "/health#standing") {
		t.Errorf("the changes do not say %q", says)
	}
	if _, page := fetched(t, newClient(site, account.Reader), base+"/rules-changes"); !strings.Contains(page, says) || strings.Contains(page, "/health") {
		t.Error("a reader is led to a page for others, or is not told")
	}
	if _, page := fetched(t, manager, base+"/health"); !strings.Contains(page, fmt.Sprintf("%d studies stand as other rules judged them", studies)) {
		t.Error("Health does not say how many studies stand as they were judged before")
	}
	was, err := site.Lab.Ledger.Statistics(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for range 2 { // the second is at work already, or finds nothing to do
		if status, _ := post(t, manager, base+"/health/anew", nil); status != http.StatusSeeOther {
			t.Fatalf("not begun: status %d", status)
		}
	}
	page := ""
	for !strings.Contains(page, "All studies with a report stand") {
		if _, page = fetched(t, manager, base+"/health"); strings.Contains(page, "before all was done") || t.Context().Err() != nil {
			t.Fatal(page)
		}
		time.Sleep(50 * time.Millisecond)
	}
	if status, _ := post(t, manager, base+"/health/anew/stop", nil); status != http.StatusSeeOther {
		t.Errorf("what has ended is stopped: status %d", status)
	}
	is, err := site.Lab.Ledger.Statistics(ctx)
	if err != nil || is.Judgements != was.Judgements+studies {
		t.Errorf("%d judgements after %d of %d studies, %v", is.Judgements, was.Judgements, studies, err)
	}
}

// TestActionsAreKept begins an action on the page and closes it.
func TestActionsAreKept(t *testing.T) {
	site, base := recorded(t)
	c := newClient(site, account.QualityManager)
	form := url.Values{"title": {"worksheet line"}, "cause": {"forgotten"}, "owner": {"lead sonographer"}, "measure": {"views-stated"}, "started": {"2026-10-01"}, "due": {"2026-12-01"}}
	if status, page := post(t, c, base+"/actions", form); status != http.StatusSeeOther {
		t.Fatalf("status %d\n%s", status, page)
	}
	form.Set("measure", "no-such")
	if status, _ := post(t, c, base+"/actions", form); status != http.StatusUnprocessableEntity {
		t.Errorf("an unknown measure: status %d", status)
	}
	if _, page := fetched(t, c, base+"/actions"); !strings.Contains(page, "1. worksheet line") {
		t.Error("the action is not shown")
	} else if strings.Contains(page, "class=\"drawing action\"") != strings.Contains(page, "(1) 1 October 2026: action, worksheet line") {
		t.Error("a mark of the chart is not explained, or none is drawn")
	}
	if status, _ := post(t, c, base+"/actions/1", url.Values{"result": {"seen"}}); status != http.StatusSeeOther {
		t.Errorf("not closed: status %d", status)
	}
	if _, page := fetched(t, c, base+"/actions"); !strings.Contains(page, "Closed <span class=\"whole\">"+fmt.Sprint(time.Now().UTC().Year())) {
		t.Error("the action is not shown as closed")
	}
}

// TestWhatThereIsToShow shows the binder of a set, and that nothing was read again.
func TestWhatThereIsToShow(t *testing.T) {
	site, base := recorded(t)
	c := newClient(site, account.QualityManager)
	for address, want := range map[string]string{"/binder": "Choose a set", "/binder?set=iac-adult-2021": "What would close it", "/readings": "Nothing was drawn yet", "/readings/results": "Nothing was entered yet", "/lab?from=2026-10-05&to=2026-10-11": "11 October 2026"} {
		if status, page := fetched(t, c, base+address); status != http.StatusOK || !strings.Contains(page, want) {
			t.Errorf("%s: status %d, without %q", address, status, want)
		}
	}
}

// TestCodesPage shows the page of codes.
func TestCodesPage(t *testing.T) {
	site, base := recorded(t)
	if status, page := fetched(t, newClient(site, account.QualityManager), base+"/codes"); status != http.StatusOK || !strings.Contains(page, "<h1>Codes</h1>") {
		t.Errorf("status %d", status)
	}
}
