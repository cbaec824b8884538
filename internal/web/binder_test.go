package web

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"

	"echotally/internal/account"
	"echotally/internal/accreditation"
	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/counted"
	"echotally/internal/store"
	"echotally/internal/store/decision"
	"echotally/internal/web/binder"
	"echotally/internal/web/frame"
	"echotally/internal/web/meeting"
	"echotally/internal/web/period"
	"echotally/rules"
)

// binderPages are the pages of the binder on the shipped sets, with what was attached in
// the ledger alone.
func binderPages(of *period.Pages) *binder.Pages {
	const kind = "attachment"
	said := func(ctx context.Context, s *store.Store) ([]binder.Said, error) {
		list, err := s.Decisions(ctx, kind)
		if err != nil {
			return nil, err
		}
		placed, err := decision.Place(list)
		out := make([]binder.Said, len(placed))
		for i, p := range placed {
			if out[i].At, out[i].Number = p.At, p.Place; p.Takes != nil {
				out[p.Takes.Withdraws-1].Withdrawn = p.Takes
			} else if err := json.Unmarshal(p.Body, &out[i].Attachment); err != nil {
				return nil, err
			}
		}
		return out, err
	}
	return &binder.Pages{
		Said: said, Period: of,
		Sets: func() (out []*accreditation.Set, err error) {
			names, err := accreditation.Names(rules.FS)
			for _, name := range names {
				one, err := accreditation.Load(name, rules.FS)
				if err != nil {
					return nil, err
				}
				out = append(out, one)
			}
			return out, err
		},
		Build: func(ctx context.Context, s *store.Store, set *accreditation.Set, opt audit.Options, studies []counted.Study) (*accreditation.Binder, error) {
			all, err := said(ctx, s)
			m := &accreditation.Material{Options: opt, Studies: studies}
			for _, one := range all {
				if one.Withdrawn == nil && one.By != "" {
					m.Attachments = append(m.Attachments, one.Attachment)
				}
			}
			return accreditation.Build(set, m), err
		},
		Record: func(ctx context.Context, s *store.Store, _ *accreditation.Set, one accreditation.Attachment) (int, error) {
			n := 0
			_, err := s.Decide(ctx, kind, func(before []decision.Decision) (any, error) { n = len(before) + 1; return one, nil })
			return n, err
		},
		TakeBack: func(ctx context.Context, s *store.Store, w decision.Withdrawal) error {
			return decision.TakeBack(ctx, s, kind, w)
		},
		Write: func(b *accreditation.Binder, _ *audit.Report) (*binder.Documents, error) {
			text := []byte(strings.Join(b.Short(), "\n"))
			return &binder.Documents{Zip: text, PDF: text, Open: text}, nil
		},
	}
}

// meetingPages are the pages of meetings with an agenda that says its period only.
func meetingPages(of *period.Pages) *meeting.Pages {
	text := func(*booklet.Booklet) ([]byte, error) { return []byte("pack"), nil }
	return &meeting.Pages{
		Period: of, Write: text,
		Sheet: func(b *booklet.Booklet, _ io.Reader) ([]byte, error) { return text(b) },
		Held:  func(context.Context, *store.Store) ([]meeting.Held, error) { return nil, nil },
		Keep:  func(context.Context, *frame.Lab, *accreditation.Meeting, io.Reader) error { return nil },
		TakeBack: func(_ context.Context, _ *store.Store, w decision.Withdrawal) error {
			return &decision.NotThere{Place: w.Withdraws}
		},
		Pack: func(_ context.Context, _ *store.Store, r *audit.Report) (*booklet.Booklet, error) {
			return &booklet.Booklet{Name: "meeting", Title: "Meeting", Options: r.Options, Paper: pdfpage.A4, Front: []booklet.Passage{{Title: "1. Agenda", Lines: []string{"of " + r.Options.Period.Name}}}}, nil
		},
	}
}

// attached sends a form with fields and, unless it is empty, a file.
func attached(t *testing.T, c *client, address string, fields map[string]string, name, content string) (int, string) {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for field, text := range fields {
		if err := w.WriteField(field, text); err != nil {
			t.Fatal(err)
		}
	}
	if name != "" {
		f, err := w.CreateFormFile("file", name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := f.Write([]byte(content)); err != nil {
			t.Fatal(err)
		}
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

// TestABinderIsFilledOnThePage attaches a file, states something, says that something
// does not apply, and takes it back; each time the status follows at once, in the
// documents as well, and the page says who did it.
func TestABinderIsFilledOnThePage(t *testing.T) {
	site, base := recorded(t)
	if _, err := site.Accounts.Add("Quill", "four plain words here", []account.Role{account.QualityManager}); err != nil {
		t.Fatal(err)
	}
	c := newClient(site, account.QualityManager)
	at := base + "/binder/iac-adult-2021/privacy"
	is := func(status string, says ...string) {
		t.Helper()
		code, page := fetched(t, c, at)
		for _, want := range append(says, status+"</b>") {
			if code != http.StatusOK || !strings.Contains(page, want) {
				t.Errorf("status %d; the page does not say %q", code, want)
			}
		}
	}
	is("■ Not shown", "Nothing yet.")
	const content = "what the policy says"
	sum := sha256.Sum256([]byte(content))
	steps := []struct {
		fields       map[string]string
		name         string
		status, says string
	}{
		{map[string]string{"statement": "on paper in room 3"}, "", "▲ Partly shown", "Statement: on paper in room 3"},
		{map[string]string{"title": "privacy policy", "until": "2099-12-31"}, `C:\lab\policy.pdf`, "✓ Shown by attachment", "policy.pdf, 20 bytes, SHA-256 " + hex.EncodeToString(sum[:])},
		{map[string]string{"not-applicable": "no such thing here"}, "", "– Not applicable", "Does not apply: no such thing here"},
	}
	for _, s := range steps {
		if code, page := attached(t, c, at+"/attach", s.fields, s.name, content); code != http.StatusSeeOther {
			t.Fatalf("%v: status %d\n%s", s.fields, code, page)
		}
		is(s.status, s.says, "By Quill (quality manager)")
	}
	if code, _ := post(t, c, at+"/withdraw", map[string][]string{"number": {"3"}}); code != http.StatusSeeOther {
		t.Fatalf("not taken back: status %d", code)
	}
	is("✓ Shown by attachment", "taken back by Quill")
	if _, list := fetched(t, c, base+"/binder?set=iac-adult-2021"); !strings.Contains(list, "<b>1</b> shown by attachment") {
		t.Error("the list has another status")
	}
	for _, name := range []string{"binder.zip", "binder.pdf", "open.pdf"} {
		if code, text := fetched(t, c, base+"/binder/iac-adult-2021/document/"+name); code != http.StatusOK || !strings.Contains(text, "1 of 20 requirements: shown by attachment") {
			t.Errorf("%s: status %d: %s", name, code, text)
		}
	}
	ofAPeriod(t, site, c, base)
	list, err := site.Lab.Ledger.Decisions(context.Background(), "attachment")
	if err != nil || len(list) != 5 {
		t.Fatalf("%d decisions, %v", len(list), err)
	}
	for _, d := range list {
		if strings.Contains(string(d.Body), "Quill") || strings.Contains(string(d.Body), content) {
			t.Errorf("a decision names a person or keeps the file: %s", d.Body)
		}
	}
	for want, fields := range map[string]map[string]string{"one of these": {}, "which is over": {"statement": "long ago", "until": "2001-01-01"}, "one line": {"statement": strings.Repeat("long ", 200)}} {
		if code, page := attached(t, c, at+"/attach", fields, "", ""); code != http.StatusUnprocessableEntity || !strings.Contains(page, want) {
			t.Errorf("%v: status %d", fields, code)
		}
	}
	for number, want := range map[string]int{"3": http.StatusUnprocessableEntity, "9": http.StatusUnprocessableEntity, "x": http.StatusUnprocessableEntity} {
		if code, _ := post(t, c, at+"/withdraw", map[string][]string{"number": {number}}); code != want {
			t.Errorf("take back %s: status %d", number, code)
		}
	}
}

// ofAPeriod: a year that is chosen stays in every address of the binder, also after
// something was sent, and its documents are of that year; one without studies is refused.
func ofAPeriod(t *testing.T, site *frame.Site, c *client, base string) {
	t.Helper()
	stats, err := site.Lab.Ledger.Statistics(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	year := stats.Last[:4]
	_, page := fetched(t, c, base+"/binder?set=iac-adult-2021&period="+year)
	for _, want := range []string{"studies of " + year, `<option value="` + year + `" selected>`, `href="/binder/iac-adult-2021/document/binder.zip?period=` + year, `href="/binder/iac-adult-2021/privacy?period=` + year} {
		if !strings.Contains(page, want) {
			t.Errorf("the list of %s does not say %q", year, want)
		}
	}
	at := base + "/binder/iac-adult-2021/privacy"
	_, page = fetched(t, c, at+"?period="+year)
	for _, want := range []string{"studies of " + year, `href="/binder?set=iac-adult-2021&amp;period=` + year, `action="/binder/iac-adult-2021/privacy/attach?period=` + year, `action="/binder/iac-adult-2021/privacy/withdraw?period=` + year} {
		if !strings.Contains(page, want) {
			t.Errorf("the requirement of %s does not say %q", year, want)
		}
	}
	if code, _ := attached(t, c, at+"/attach?period="+year, map[string]string{"statement": "in room 4"}, "", ""); code != http.StatusSeeOther {
		t.Errorf("not attached: status %d", code)
	}
	if code, _ := fetched(t, c, base+"/binder/iac-adult-2021/document/binder.zip?period="+year); code != http.StatusOK {
		t.Errorf("the document of %s: status %d", year, code)
	}
	for _, none := range []string{"1999", "2026-01-01+to+2026-02-01", "%22%3E"} {
		if code, page := fetched(t, c, base+"/binder?set=iac-adult-2021&period="+none); code != http.StatusUnprocessableEntity || !strings.Contains(page, "no studies of this period") {
			t.Errorf("%s: status %d", none, code)
		}
	}
}
