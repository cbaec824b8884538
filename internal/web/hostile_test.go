package web

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"net/textproto"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"echotally/internal/account"
	"echotally/internal/dcmtest"
	"echotally/internal/desk"
	"echotally/internal/finding"
	"echotally/internal/srtest"
	"echotally/internal/store"
	"echotally/internal/web/frame"
)

const script = `<script>alert(1)</script><img src=x onerror=alert(1)>`

// hostileReport has markup wherever a report has text.
func hostileReport(t *testing.T) []byte {
	text := strings.ReplaceAll(`header 00080016 = 1.2.840.10008.5.1.4.1.1.88.33
header 00080018 = 2.25.71
header 0020000D = 2.25.72
header 00080020 = 20261003
header 00100010 = SCRIPT
header 00100020 = SCRIPT
header 00081090 = SCRIPT
header 00080070 = SCRIPT
container DCM:125200 "Adult Echocardiography Procedure Report"
  contains text DCM:121071 "SCRIPT" = "SCRIPT"
  contains num 99X:1 "SCRIPT" = 60 /min
  contains num LN:8867-4 "Heart rate" = 60 /min
`, "SCRIPT", script)
	return dcmtest.Encode(srtest.Report(t, text), dcmtest.Encoding{})
}

// TestMarkupInReportsIsShownAsText: what a report says acts on no page.
func TestMarkupInReportsIsShownAsText(t *testing.T) {
	site, server := newSite(t)
	file := filepath.Join(t.TempDir(), "hostile.dcm")
	if err := os.WriteFile(file, hostileReport(t), 0o600); err != nil {
		t.Fatal(err)
	}
	record := &desk.Recorder{Desk: site.Lab.Desk(), Ledger: site.Lab.Ledger, Tell: func(*store.Receipt) error { return nil }, Failed: func(uid, reason string) { t.Error(reason) }}
	if err := record.Paths(context.Background(), []string{file}); err != nil {
		t.Fatal(err)
	}
	c := newClient(site, account.Reader, account.QualityManager)
	found := false
	for _, path := range []string{"/arrivals", "/arrivals?scanner=" + url.QueryEscape(script), site.Lab.Study("2.25.72"), site.Lab.Study("2.25.72") + "?names=1", "/nowhere/" + url.PathEscape(script), "/sign-in?then=" + url.QueryEscape(script), "/log"} {
		answer := c.ask(t, get(t, server.URL+path))
		body := read(t, answer)
		if strings.Contains(body, "<script>alert") || strings.Contains(body, "<img src=x") {
			t.Errorf("%s shows markup of a report", path)
		}
		found = found || strings.Contains(body, "&lt;script&gt;")
	}
	if !found {
		t.Error("no page shows the text of the report: nothing was tried")
	}
}

// sent is a form of files, by the names they claim to have.
func sent(t *testing.T, to string, files map[string][]byte) *http.Request {
	t.Helper()
	var b bytes.Buffer
	form := multipart.NewWriter(&b)
	for name, content := range files {
		part, err := form.CreatePart(textproto.MIMEHeader{"Content-Disposition": {fmt.Sprintf(`form-data; name="files"; filename="%s"`, name)}, "Content-Type": {"application/dicom"}})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := part.Write(content); err != nil {
			t.Fatal(err)
		}
	}
	if err := form.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := http.NewRequest(http.MethodPost, to, &b)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", form.FormDataContentType())
	return r
}

// TestHostileFilesThatAreSent: names lead nowhere, bombs are refused, and what is too
// large is refused before it is kept.
func TestHostileFilesThatAreSent(t *testing.T) {
	site, server := newSite(t)
	c := newClient(site, account.Sonographer)
	var bomb bytes.Buffer
	z := zip.NewWriter(&bomb)
	entry, err := z.Create("../../../bomb.dcm")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.CopyN(entry, zeros{}, 64<<20); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	report := hostileReport(t)
	answer := c.ask(t, sent(t, server.URL+"/check", map[string][]byte{
		"../../../../tmp/escaped.dcm": report, `..\\..\\escaped.dcm`: report, "/etc/escaped.dcm": report, "..": report, "a/b/c.dcm": report, "bomb.zip": bomb.Bytes(),
		strings.Repeat("n", 5000) + ".dcm": report, script + ".dcm": report,
	}))
	if answer.StatusCode != http.StatusSeeOther {
		t.Fatalf("%d: %s", answer.StatusCode, read(t, answer))
	}
	for _, name := range []string{"/tmp/escaped.dcm", "/etc/escaped.dcm", "escaped.dcm", "../escaped.dcm"} {
		if _, err := os.Lstat(name); err == nil {
			t.Errorf("%s was written", name)
		}
	}
	found := answer.Header.Get("Location")
	body := read(t, c.ask(t, get(t, server.URL+found)))
	if !strings.Contains(body, "unpacks more than") || strings.Contains(body, "<script>alert") {
		t.Errorf("the bomb is not refused, or markup is shown:\n%.3000s", body)
	}
	if other := newClient(site, account.Sonographer); other != nil {
		other.cookie = site.Sessions.Begin("Marrow", []account.Role{account.Sonographer})
		if answer := other.ask(t, get(t, server.URL+found)); answer.StatusCode != http.StatusNotFound {
			t.Errorf("somebody else sees what was sent: %d", answer.StatusCode)
		}
	}
	if answer := c.ask(t, sent(t, server.URL+"/check", map[string][]byte{"nul\x01.dcm": report})); answer.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("a name that no header may hold: %d", answer.StatusCode)
	}
	site.Upload = 1 << 20
	if answer := c.ask(t, sent(t, server.URL+"/check", map[string][]byte{"large.dcm": make([]byte, 2<<20)})); answer.StatusCode != http.StatusRequestEntityTooLarge {
		t.Errorf("what is too large: %d", answer.StatusCode)
	}
	if answer := c.ask(t, form(t, server.URL+"/check/unknown/keep", url.Values{"x": {strings.Repeat("x", 1<<20)}})); answer.StatusCode == http.StatusSeeOther {
		t.Errorf("a form that is too large: %d", answer.StatusCode)
	}
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

// TestForgedRequestsChangeNothing: a cookie nobody gave, and forms of other sites.
func TestForgedRequestsChangeNothing(t *testing.T) {
	site, server := newSite(t)
	c := newClient(site, account.Administrator)
	good := c.cookie
	for _, forged := range []string{"", "x", good + "A", strings.ToLower(good), strings.Repeat("A", 4000)} {
		c.cookie = forged
		if answer := c.ask(t, get(t, server.URL+"/accounts")); answer.StatusCode != http.StatusSeeOther {
			t.Errorf("cookie %.20q: %d", forged, answer.StatusCode)
		}
	}
	c.cookie = good
	fields := url.Values{"name": {"Intruder"}, "password": {"four plain words here"}, "role": {"administrator"}}
	for name, value := range map[string]string{"Sec-Fetch-Site": "cross-site", "Origin": "https://elsewhere.example", "origin": "null"} {
		r := form(t, server.URL+"/accounts", fields)
		r.Header.Set(name, value)
		if answer := c.ask(t, r); answer.StatusCode != http.StatusForbidden {
			t.Errorf("%s: %s: %d", name, value, answer.StatusCode)
		}
	}
	if len(site.Accounts.All()) > 0 {
		t.Error("an account was made by another site")
	}
	if answer := c.ask(t, form(t, server.URL+"/accounts", fields)); answer.StatusCode != http.StatusSeeOther || len(site.Accounts.All()) != 1 {
		t.Errorf("nor is it made by this one: %d", answer.StatusCode)
	}
}

// TestPasswordsCannotBeTriedForEver: after some tries the next has to wait, also with the
// right password.
func TestPasswordsCannotBeTriedForEver(t *testing.T) {
	site, server := newSite(t)
	if _, err := site.Accounts.Add("Quill", "four plain words here", account.Roles()); err != nil {
		t.Fatal(err)
	}
	c := newClient(site)
	for n := 0; ; n++ {
		answer := c.ask(t, form(t, server.URL+"/sign-in", url.Values{"name": {"Quill"}, "password": {"four plain words"}}))
		if answer.StatusCode == http.StatusTooManyRequests {
			break
		}
		if n > 20 {
			t.Fatal("twenty passwords were tried")
		}
	}
	if answer := c.ask(t, form(t, server.URL+"/sign-in", url.Values{"name": {"Quill"}, "password": {"four plain words here"}})); answer.StatusCode != http.StatusTooManyRequests {
		t.Errorf("%d", answer.StatusCode)
	}
}

// TestEveryAnswerIsHeldToItsHost: headers of pages, refusals and assets; and no address
// sends people to another site.
func TestEveryAnswerIsHeldToItsHost(t *testing.T) {
	site, server := newSite(t)
	c := newClient(site, account.Roles()...)
	for _, route := range site.Routes() {
		if route.Method != http.MethodGet || strings.Contains(route.Pattern, "{") || route.Pattern == "/live" || route.Pattern == "/metrics" {
			continue
		}
		answer := c.ask(t, get(t, server.URL+strings.TrimSuffix(route.Pattern, "{$}")))
		for name, want := range map[string]string{"Content-Security-Policy": "default-src 'none'", "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer", "Cache-Control": "no-store"} {
			if !strings.Contains(answer.Header.Get(name), want) {
				t.Errorf("%s: %s is %q", route.Pattern, name, answer.Header.Get(name))
			}
		}
		if body := read(t, answer); strings.Contains(body, " style=") || strings.Contains(body, "<style") || strings.Contains(body, "<script>") || strings.Contains(body, " onclick=") {
			t.Errorf("%s: style or script stands in the page", route.Pattern)
		}
	}
	for _, then := range []string{"//elsewhere.example", "https://elsewhere.example/", `/\elsewhere.example`, "javascript:alert(1)", "/a\r\nX: y"} {
		if to := frame.Then(then); to != "/" {
			t.Errorf("%q leads to %q", then, to)
		}
	}
	if to := frame.Then("/study/abc?names=1"); to != "/study/abc?names=1" {
		t.Errorf("a page of the site: %q", to)
	}
	if answer := c.ask(t, get(t, server.URL+site.Lab.Study("2.25.404"))); answer.StatusCode != http.StatusNotFound {
		t.Errorf("a study that is not there: %d", answer.StatusCode)
	}
}

// TestWhatIsShownIsLogged: who saw whom, before it is shown.
func TestWhatIsShownIsLogged(t *testing.T) {
	site, server := small.site(t)
	study := site.Lab.Study(richest(t, site.Lab, finding.Completeness))
	c := newClient(site, account.Reader)
	c.ask(t, get(t, server.URL+study))
	c.ask(t, get(t, server.URL+study+"?names=1"))
	events, err := site.Trail.Last(10)
	if err != nil || len(events) != 2 {
		t.Fatalf("%+v, %v", events, err)
	}
	uid, err := site.Lab.UID(context.Background(), strings.TrimPrefix(study, "/study/"))
	if err != nil {
		t.Fatal(err)
	}
	if e := events[0]; e.EventID != "Patient Record" || e.UserID != "Quill" || e.RoleIDCode != "reader" || e.ParticipantObjectID != uid || e.NetworkAccessPointID != "127.0.0.1" {
		t.Errorf("%+v", e)
	}
	if e := events[1]; e.EventID != "Procedure Record" || e.ParticipantObjectID != uid {
		t.Errorf("%+v", e)
	}
	site.Trail.Close()
	answer := c.ask(t, get(t, server.URL+study+"?names=1"))
	if body := read(t, answer); answer.StatusCode != http.StatusInternalServerError || strings.Contains(body, "Echo gap sheet") {
		t.Errorf("what cannot be logged is shown: %d", answer.StatusCode)
	}
}

func get(t testing.TB, address string) *http.Request {
	t.Helper()
	r, err := http.NewRequest(http.MethodGet, address, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func form(t testing.TB, address string, fields url.Values) *http.Request {
	t.Helper()
	r, err := http.NewRequest(http.MethodPost, address, strings.NewReader(fields.Encode()))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	return r
}

func read(t testing.TB, answer *http.Response) string {
	t.Helper()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(body)
}
