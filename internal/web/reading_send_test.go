package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"mime/multipart"
	"net/http"
	"slices"
	"strings"
	"testing"

	"echotally/internal/account"
	"echotally/internal/demo/casebook"
	"echotally/internal/docket"
	"echotally/internal/review"
	"echotally/internal/web/frame"
)

// sentTo sends one file in a field of a form.
func sentTo(t *testing.T, c *client, address, field string, content []byte, more ...string) (int, string) {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for _, name := range more {
		if err := w.WriteField(name, "yes"); err != nil {
			t.Fatal(err)
		}
	}
	f, err := w.CreateFormFile(field, `C:\patients\`+script+".csv")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := f.Write(content); err != nil {
		t.Fatal(err)
	}
	w.Close()
	r, err := http.NewRequest(http.MethodPost, address, &body)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", w.FormDataContentType())
	answer := c.ask(t, r)
	return answer.StatusCode, read(t, answer)
}

// filled fills the column value of a worksheet.
func filled(t *testing.T, sheet string, value func(of map[string]string) string) []byte {
	t.Helper()
	lines, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(sheet, "\uFEFF"))).ReadAll()
	if err != nil || len(lines) < 3 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	at := slices.Index(lines[0], "value")
	for _, line := range lines[1:] {
		of := map[string]string{}
		for i, name := range lines[0] {
			of[name] = line[i]
		}
		line[at] = value(of)
	}
	var out bytes.Buffer
	if err := csv.NewWriter(&out).WriteAll(lines); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// TestReadingsAreSent: a worksheet that was downloaded says nothing of what was reported;
// filled in, it is refused as the command refuses it, with nothing saved, or it is saved
// and stands beside what was reported; it cannot be entered twice.
func TestReadingsAreSent(t *testing.T) {
	site, base := recorded(t)
	d := drawn(t, site, 4)
	c := newClient(site)
	c.cookie = site.Sessions.Begin("Hallam", []account.Role{account.Reader})
	address := base + "/readings/1/send"
	_, sheet := fetched(t, c, base+"/readings/1/worksheet/worksheet.csv")
	reported := func(of map[string]string) (string, bool) {
		for i := range d.Cases {
			if fmt.Sprint(d.Cases[i].Number) == of["case"] {
				x, ok := d.Cases[i].Reported.Values[of["item"]]
				return fmt.Sprint(x), ok
			}
		}
		return "", false
	}
	good := filled(t, sheet, func(of map[string]string) string {
		if x, ok := reported(of); ok && (of["value"] != "" || strings.Contains(strings.Join([]string{of["title"], of["how"], of["scale"]}, " "), " "+x+" ")) {
			t.Errorf("the worksheet shows %s of %s", x, of["item"])
		} else if ok {
			return x
		}
		return ""
	})
	if status, _ := sentTo(t, c, address, "worksheet", good); status != http.StatusUnprocessableEntity {
		t.Errorf("somebody whom nobody knows may enter: status %d", status)
	}
	tie(t, site, "Hallam", "p-hallam")
	one := 0
	spoilt := filled(t, sheet, func(of map[string]string) string {
		if x, ok := reported(of); ok {
			if one++; one == 1 {
				return script
			}
			return x
		}
		return ""
	})
	for name, bad := range map[string]struct {
		content []byte
		status  int
		says    string
	}{
		"no worksheet":    {[]byte("nothing of the kind"), http.StatusUnprocessableEntity, "This is no worksheet"},
		"another draw":    {bytes.ReplaceAll(good, []byte("\n1,"), []byte("\n7,")), http.StatusUnprocessableEntity, "not of draw 1"},
		"a row in fault":  {spoilt, http.StatusUnprocessableEntity, "Not a number"},
		"nothing filled":  {[]byte(sheet), http.StatusUnprocessableEntity, "no row can stand"},
		"too large":       {make([]byte, 17<<20), http.StatusRequestEntityTooLarge, "at most 16 MiB"},
		"a shortened zip": {[]byte("PK\x03\x04"), http.StatusUnprocessableEntity, "not a workbook"},
	} {
		status, page := sentTo(t, c, address, "worksheet", bad.content)
		if status != bad.status || !strings.Contains(strings.ToLower(page), strings.ToLower(bad.says)) || strings.Contains(page, script) {
			t.Errorf("%s: status %d, without %q", name, status, bad.says)
		}
		if strings.Contains(page, "Reported") {
			t.Errorf("%s: what was reported is shown", name)
		}
	}
	if list, err := docket.Entries(context.Background(), site.Lab.Ledger); err != nil || len(list) != 0 {
		t.Fatalf("%d entries in spite of the faults, %v", len(list), err)
	}
	status, page := sentTo(t, c, address, "worksheet", spoilt, "partly")
	if status != http.StatusOK || !strings.Contains(page, "Entry 1 is saved") || !strings.Contains(page, "not a number") {
		t.Fatalf("what can stand is not taken: status %d\n%s", status, page)
	}
	if status, page = sentTo(t, c, address, "worksheet", good); status != http.StatusUnprocessableEntity || !strings.Contains(page, "entered it before") {
		t.Errorf("entered twice: status %d", status)
	}
	if _, page = fetched(t, c, base+"/readings/1?saved=1"); !strings.Contains(page, "Entry 1 is saved") {
		t.Error("that it was saved is not told")
	}
	other := newClient(site, account.Reader)
	if _, page = fetched(t, other, base+"/readings/1?saved=1"); strings.Contains(page, "Entry 1") {
		t.Error("another reader is told of the entry")
	}
	list, err := docket.Entries(context.Background(), site.Lab.Ledger)
	if err != nil || len(list) != 1 || list[0].From != "worksheet" || list[0].Reader != "p-hallam" {
		t.Fatalf("%+v, %v", list, err)
	}
	if _, page = fetched(t, c, fmt.Sprintf("%s/readings/1/%d", base, list[0].Rows[0].Case)); !strings.Contains(page, "beside what was reported") {
		t.Error("what was saved is not shown beside what was reported")
	}
	reportsAreSent(t, site, address, d)
}

// reportsAreSent: the report that the ledger holds is no second reading; one of the same
// study under a SOP Instance UID of its own is, and nothing of it is recorded.
func reportsAreSent(t *testing.T, site *frame.Site, address string, d *review.Draw) {
	t.Helper()
	c := newClient(site)
	c.cookie = site.Sessions.Begin("Marrow", []account.Role{account.Reader})
	tie(t, site, "Marrow", "p-marrow")
	ctx := context.Background()
	before, err := site.Lab.Ledger.Statistics(ctx)
	if err != nil {
		t.Fatal(err)
	}
	report := func(study string) []byte {
		objects, err := site.Lab.Ledger.ObjectsOf(ctx, study)
		if err != nil {
			t.Fatal(err)
		}
		for _, one := range casebook.Studies(casebook.Options{Seed: 1}) {
			for _, o := range one.Objects {
				b, err := o.Bytes()
				if err == nil && !objects[0].Image && bytes.Contains(b, []byte(objects[0].SOPInstanceUID)) && bytes.Contains(b, []byte(study)) {
					return b
				}
			}
		}
		return nil
	}
	var of *review.Case
	var content []byte
	for i := range d.Cases {
		if content = report(d.Cases[i].Study); content != nil && len(d.Cases[i].Reported.Values) > 0 {
			of = &d.Cases[i]
			break
		}
	}
	if of == nil {
		t.Fatal("no case has a report in the invented lab")
	}
	if status, page := sentTo(t, c, address, "reports", content); status != http.StatusUnprocessableEntity || !strings.Contains(page, "a report that the ledger holds") {
		t.Errorf("the report that was reported is taken for a second one: status %d", status)
	}
	if status, page := sentTo(t, c, address, "reports", []byte("no report")); status != http.StatusUnprocessableEntity || !strings.Contains(page, "None of the 0 studies read is a case of draw 1") {
		t.Errorf("what is no report: status %d", status)
	}
	objects, err := site.Lab.Ledger.ObjectsOf(ctx, of.Study)
	if err != nil {
		t.Fatal(err)
	}
	uid := []byte(objects[0].SOPInstanceUID)
	own := slices.Clone(uid)
	own[len(own)-1] = '0' + (own[len(own)-1]-'0'+1)%10
	if status, page := sentTo(t, c, address, "reports", bytes.ReplaceAll(content, uid, own)); status != http.StatusSeeOther {
		t.Fatalf("a second report: status %d\n%s", status, page)
	}
	list, err := docket.Entries(ctx, site.Lab.Ledger)
	if err != nil || len(list) != 2 || list[1].From != "report" || list[1].Reader != "p-marrow" || list[1].Rows[0].Case != of.Number {
		t.Fatalf("%+v, %v", list, err)
	}
	after, err := site.Lab.Ledger.Statistics(ctx)
	if err != nil || after.Studies != before.Studies || after.Objects["read"] != before.Objects["read"] || after.Judgements != before.Judgements {
		t.Errorf("the second report was recorded: %+v after %+v, %v", after, before, err)
	}
}

// TestHowManyCasesAreNeeded: the page answers as review size does. 139 of any number for
// 90 % within 5 points is Cochran 1977, n = z²pq/d² = 1.96² · 0.9 · 0.1 / 0.05² = 138.3; 59
// clean cases exclude 5 %: the smallest n with 0.95^n < 0.05; 8 exclude 1 - 0.05^(1/8).
func TestHowManyCasesAreNeeded(t *testing.T) {
	site, server := newSite(t)
	c := newClient(site, account.QualityManager)
	for query, want := range map[string]string{
		"share=90&margin=5":                "139 cases of any number of studies show a share of about 90 % within 5 points",
		"rate=5":                           "59 cases of any number of studies, all clean, exclude a fault rate of 5 % or more",
		"clean=8&share=&margin=&rate=":     "8 clean cases exclude a fault rate above 31.2 %",
		"share=90":                         "Say a margin, a fault rate",
		"share=&margin=5":                  "A margin needs the share",
		"share=90&margin=%3Cscript%3E":     "A share or rate lies between",
		"share=120&margin=5":               "A share or rate lies between",
		"clean=2.5":                        "A share or rate lies between",
		"share=90&margin=5&population=250": "cases of 250 studies",
	} {
		if status, page := fetched(t, c, server.URL+"/readings?"+query); status != http.StatusOK || !strings.Contains(page, want) {
			t.Errorf("%s: status %d, without %q", query, status, want)
		}
	}
}
