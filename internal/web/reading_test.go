package web

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"echotally/internal/account"
	"echotally/internal/agreement"
	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/calendar"
	"echotally/internal/docket"
	"echotally/internal/library"
	"echotally/internal/review"
	"echotally/internal/staff"
	"echotally/internal/store"
	"echotally/internal/web/frame"
	"echotally/rules"
)

func items(set *library.Library) (*review.Items, error) { return review.LoadItems(set, rules.FS) }

// agreed compares all draws, as the program does.
func agreed(ctx context.Context, s *store.Store, opt audit.Options, _ []int) (*booklet.Booklet, error) {
	read, err := docket.Entries(ctx, s)
	if err != nil || len(read) == 0 {
		return nil, err
	}
	list, err := docket.Draws(ctx, s)
	if err != nil {
		return nil, err
	}
	set, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	if err != nil {
		return nil, err
	}
	what, err := items(set)
	if err != nil {
		return nil, err
	}
	var of []*review.Draw
	for i := range list {
		of = append(of, &list[i])
	}
	r := agreement.Compare(what, of, read, func(string) string { return "Reader 1" })
	b := &booklet.Booklet{Name: "agreement", Title: "Agreement of readings", Of: "all draws", Tables: r.Tables, Caption: booklet.PairsCaption, Options: opt, Front: []booklet.Passage{{Title: "In short", Lines: r.Short()}}}
	for i, one := range r.Plots {
		b.Charts = append(b.Charts, booklet.Pairs(one).Chart(i+1))
	}
	return b, nil
}

// drawn draws cases of all that the ledger holds.
func drawn(t testing.TB, site *frame.Site, quota int) *review.Draw {
	t.Helper()
	ctx := context.Background()
	stats, err := site.Lab.Ledger.Statistics(ctx)
	if err != nil {
		t.Fatal(err)
	}
	o := docket.Order{Quota: quota, Seed: "autumn", Software: "test"}
	if o.Period, err = calendar.Between(stats.First, stats.Last); err != nil {
		t.Fatal(err)
	}
	what, err := items(site.Lab.Desk().Library)
	if err != nil {
		t.Fatal(err)
	}
	d, err := docket.Draw(ctx, site.Lab.Ledger, site.Lab.Desk().Library, what, o, false)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// readAgain has somebody else read all cases of a draw, a little differently.
func readAgain(t testing.TB, site *frame.Site, d *review.Draw) {
	t.Helper()
	what, err := items(site.Lab.Desk().Library)
	if err != nil {
		t.Fatal(err)
	}
	rows := d.Worksheet(what)
	for i := range rows {
		of := d.Find(rows[i].Case).Reported
		if x, ok := of.Values[rows[i].Item]; ok {
			rows[i].Value = fmt.Sprint(x * (1 + 0.02*float64(rows[i].Case%5-2)))
		}
		rows[i].Value = cmp.Or(rows[i].Value, of.Grades[rows[i].Item])
	}
	if _, err := docket.Enter(context.Background(), site.Lab.Ledger, what, d, review.Entry{Reader: "p-somebody-else", From: "worksheet"}, rows, false); err != nil {
		t.Fatal(err)
	}
}

func tie(t testing.TB, site *frame.Site, account, person string) {
	t.Helper()
	if err := staff.Tie(context.Background(), site.Lab.Ledger, site.Lab.Key, account, person, "Marrow"); err != nil {
		t.Fatal(err)
	}
}

var fieldName = regexp.MustCompile(`<input id="v-[^"]*" name="([^"]+)"`)

// TestACaseIsReadWithoutSeeingWhatWasReported goes the way of a second reader: nothing of
// the report is on the page, what cannot stand is told at its field, what was typed stays,
// and only what was saved is shown beside what was reported.
func TestACaseIsReadWithoutSeeingWhatWasReported(t *testing.T) {
	site, base := recorded(t)
	manager, reader := newClient(site, account.QualityManager), newClient(site)
	reader.cookie = site.Sessions.Begin("Hallam", []account.Role{account.Reader})
	status, page := post(t, manager, base+"/readings", url.Values{"period": {"2026"}, "quota": {"none"}, "seed": {"kept in the form"}})
	if status != http.StatusUnprocessableEntity || !strings.Contains(page, "kept in the form") {
		t.Errorf("a quota that is none: status %d", status)
	}
	status, page = post(t, manager, base+"/readings", url.Values{"period": {"2026"}, "quota": {"6"}, "seed": {"autumn"}, "by": {"sonographer"}, "do": {"try"}})
	if status != http.StatusOK || !strings.Contains(page, "Tried, and not recorded") {
		t.Fatalf("status %d: %s", status, page)
	}
	if list, err := docket.Draws(context.Background(), site.Lab.Ledger); err != nil || len(list) != 0 {
		t.Fatalf("trying has recorded %d draws, %v", len(list), err)
	}
	if status, page = post(t, manager, base+"/readings", url.Values{"period": {"2026"}, "quota": {"6"}, "seed": {"autumn"}, "by": {"sonographer"}}); status != http.StatusSeeOther {
		t.Fatalf("status %d: %s", status, page)
	}
	list, err := docket.Draws(context.Background(), site.Lab.Ledger)
	if err != nil || len(list) != 1 || len(list[0].Cases) != 6 || list[0].Seed != "autumn" || len(list[0].Frame) == 0 {
		t.Fatalf("%+v, %v", list, err)
	}
	d := &list[0]
	of := d.Cases[slices.IndexFunc(d.Cases, func(c review.Case) bool { return len(c.Reported.Values) > 1 })]
	address := fmt.Sprintf("%s/readings/1/%d", base, of.Number)

	_, page = fetched(t, reader, address)
	if strings.Contains(page, "<form method=\"post\" action=\"/readings/") {
		t.Error("somebody whom nobody knows may enter")
	}
	if status, _ := post(t, reader, address, url.Values{}); status != http.StatusUnprocessableEntity {
		t.Errorf("and it is taken: status %d", status)
	}
	tie(t, site, "Hallam", "p-hallam")
	_, page = fetched(t, reader, address)
	blind(t, site, page, of)
	names := fieldName.FindAllStringSubmatch(page, -1)
	if len(names) != len(of.Reported.Values) {
		t.Fatalf("%d fields for %d values", len(names), len(of.Reported.Values))
	}
	first, second := names[0][1], names[1][1]
	form := url.Values{first: {fmt.Sprint(of.Reported.Values[first])}, second: {script}, "mitral-regurgitation": {"mild"}}
	status, page = post(t, reader, address, form)
	if status != http.StatusUnprocessableEntity || !strings.Contains(page, "Not a number") || !strings.Contains(page, "&lt;script&gt;") || strings.Contains(page, "<script>alert") ||
		!strings.Contains(page, `value="mild" selected`) || !strings.Contains(page, `value="`+form.Get(first)+`"`) {
		t.Fatalf("a fault is not told at its field, or what was typed is lost: status %d\n%s", status, page)
	}
	if _, all := fetched(t, reader, base+"/readings/1"); !strings.Contains(all, "not read by you") || strings.Contains(all, "of 1 case, from") {
		t.Error("something was saved in spite of the fault, or entries are shown to a reader")
	}
	form.Set(second, review.NotMeasurable)
	if status, page = post(t, reader, address, form); status != http.StatusSeeOther {
		t.Fatalf("status %d: %s", status, page)
	}
	_, page = fetched(t, reader, address)
	if !strings.Contains(page, "beside what was reported") || !strings.Contains(page, "not measurable") {
		t.Error("what was saved is not shown beside what was reported")
	}
	if strings.Contains(page, site.Lab.Study(of.Study)) || !strings.Contains(page, "Left open") {
		t.Error("the gap sheet is shown while something is left open")
	}
	rest := url.Values{}
	for _, n := range fieldNames(page) {
		rest.Set(n, review.NotMeasurable)
	}
	if status, page = post(t, reader, address, rest); status != http.StatusSeeOther {
		t.Fatalf("status %d: %s", status, page)
	}
	if _, page = fetched(t, reader, address); !strings.Contains(page, site.Lab.Study(of.Study)) {
		t.Error("the gap sheet is not shown when nothing is left open")
	}
	withdrawn(t, site, base, manager, reader, address)
}

var anyName = regexp.MustCompile(`<(?:input|select) id="v-[^"]*" name="([^"]+)"`)

func fieldNames(page string) (out []string) {
	for _, m := range anyName.FindAllStringSubmatch(page, -1) {
		out = append(out, m[1])
	}
	return out
}

// blind holds a page of a case against all that was reported of it.
func blind(t *testing.T, site *frame.Site, page string, of review.Case) {
	t.Helper()
	for item, x := range of.Reported.Values {
		if strings.Contains(page, fmt.Sprintf("%.4g", x)+" ") || strings.Contains(page, `value="`+fmt.Sprint(x)) {
			t.Errorf("the page shows %g of %s", x, item)
		}
	}
	if strings.Contains(page, " selected") || strings.Contains(page, "Reported") || strings.Contains(page, site.Lab.Study(of.Study)) {
		t.Error("the page shows a grade, what was reported, or the gap sheet")
	}
	for _, who := range of.Readers {
		if strings.Contains(page, who) {
			t.Error("the page shows who reported")
		}
	}
}

// withdrawn takes both entries back, then the draw; what was seen is not entered again.
func withdrawn(t *testing.T, site *frame.Site, base string, manager, reader *client, address string) {
	t.Helper()
	if status, _ := post(t, manager, base+"/readings/1/undraw", nil); status != http.StatusUnprocessableEntity {
		t.Errorf("a draw of which something was entered is taken back: status %d", status)
	}
	if _, page := fetched(t, manager, base+"/readings/results"); !strings.Contains(page, "1 of 6 cases were read again") || strings.Contains(page, "p-hallam") {
		t.Error("the agreement is not shown, or names somebody")
	}
	for _, number := range []string{"1", "2"} {
		if status, page := post(t, manager, base+"/readings/1/entries/"+number+"/withdraw", nil); status != http.StatusSeeOther {
			t.Errorf("entry %s: status %d: %s", number, status, page)
		}
	}
	if status, _ := post(t, manager, base+"/readings/1/entries/1/withdraw", nil); status != http.StatusUnprocessableEntity {
		t.Errorf("an entry is taken back twice: status %d", status)
	}
	if _, page := fetched(t, reader, address); !strings.Contains(page, "counts in no figure") || len(fieldNames(page)) > 0 {
		t.Error("what was seen can be entered again")
	}
	if status, page := post(t, manager, base+"/readings/1/undraw", nil); status != http.StatusSeeOther {
		t.Errorf("status %d: %s", status, page)
	}
	if _, page := fetched(t, manager, base+"/readings"); !strings.Contains(page, "Taken back by the quality manager") {
		t.Error("that a draw was taken back is not shown")
	}
	if status, _ := fetched(t, reader, address); status != http.StatusNotFound {
		t.Errorf("a case of a draw that was taken back: status %d", status)
	}
	proof, err := site.Lab.Ledger.Verify(context.Background(), "")
	if err != nil || len(proof.Faults) > 0 {
		t.Errorf("the ledger does not hold: %v", err)
	}
}

// TestWhoSeesACaseIsLogged: the study of a case, and its name only where it is asked for.
func TestWhoSeesACaseIsLogged(t *testing.T) {
	site, base := recorded(t)
	d := drawn(t, site, 3)
	c := newClient(site, account.Reader)
	_, page := fetched(t, c, base+"/readings/1/2")
	_, named := fetched(t, c, base+"/readings/1/2?names=1")
	who, err := site.Lab.Ledger.Identity(context.Background(), d.Cases[1].Study)
	if err != nil {
		t.Fatal(err)
	}
	if id := who.PatientID.Reveal(); id == "" || strings.Contains(page, id) || !strings.Contains(named, id) {
		t.Error("the name is shown unasked, or not at all")
	}
	events, err := site.Trail.Last(2)
	if err != nil || len(events) != 2 || events[0].EventID != "Patient Record" || events[1].EventID != "Procedure Record" || events[0].ParticipantObjectID != d.Cases[1].Study {
		t.Errorf("%+v, %v", events, err)
	}
	manager := newClient(site, account.QualityManager)
	if _, page := fetched(t, manager, base+"/readings/1/2?names=1"); strings.Contains(page, who.PatientID.Reveal()) {
		t.Error("a quality manager sees whose it is")
	}
}
