package main

import (
	"archive/zip"
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// atPage is somebody who is signed in.
type atPage struct {
	*http.Client
	base string
}

// look asks for a page until it is made.
func (p *atPage) look(t *testing.T, path string) (int, string) {
	t.Helper()
	for range 600 {
		answer, err := p.Get(p.base + path)
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(answer.Body)
		answer.Body.Close()
		if err != nil {
			t.Fatal(err)
		}
		if answer.Header.Get("Refresh") == "" {
			return answer.StatusCode, string(body)
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Fatalf("%s is never made", path)
	return 0, ""
}

// send sends a form; the name of a field that holds a file has the name of the file behind
// a colon.
func (p *atPage) send(t *testing.T, path string, fields map[string]string) (int, string) {
	t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for name, text := range fields {
		to, err := io.Writer(nil), error(nil)
		if field, file, is := strings.Cut(name, ":"); is {
			to, err = w.CreateFormFile(field, file)
		} else {
			to, err = w.CreateFormField(name)
		}
		if err == nil {
			_, err = io.WriteString(to, text)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	w.Close()
	answer, err := p.Post(p.base+path, w.FormDataContentType(), &body)
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close()
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, string(text)
}

// unpacked are the files of an archive.
func unpacked(t *testing.T, content string) map[string]string {
	t.Helper()
	z, err := zip.NewReader(strings.NewReader(content), int64(len(content)))
	if err != nil {
		t.Fatal(err, content[:min(300, len(content))])
	}
	out := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		out[f.Name] = string(text)
	}
	return out
}

// TestThePageShowsWhatTheCommandsDo fills binder and meetings on the page of a running
// program, and holds its documents against those of the commands on the same ledger.
func TestThePageShowsWhatTheCommandsDo(t *testing.T) {
	t.Setenv("ECHOTALLY_WEB_LISTEN", "127.0.0.1:0") // the tests have it empty
	lab, ledger := recordedYear(t)
	dir := t.TempDir()
	config := filepath.Join(dir, "serve.yaml")
	output(t, append([]string{"intake", "--roster", filepath.Join(lab, "staff.csv"), "--labs", filepath.Join(lab, "sites.csv")}, ledger...)...)
	text := "spool: " + filepath.Join(dir, "spool") + "\ndicom:\n  listen: 127.0.0.1:0\nweb:\n  listen: 127.0.0.1:0\n  accounts: " + filepath.Join(dir, "accounts.json") + "\n  log: " + filepath.Join(dir, "access.log") + "\n"
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	p := begin(t, append([]string{"serve", "--config", config}, ledger...)...)
	defer p.end(t)
	at := p.listening(t, "DICOM", "web", "first account")
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &atPage{&http.Client{Jar: jar, Timeout: 2 * time.Minute}, "http://" + at["web"]}
	if answer, err := c.PostForm(at["first account"], url.Values{"name": {"Quill"}, "password": {"four plain words here"}}); err != nil || answer.StatusCode != http.StatusOK {
		t.Fatal(answer, err)
	}
	staff, err := os.ReadFile(filepath.Join(lab, "staff.csv"))
	if err != nil {
		t.Fatal(err)
	}
	const policy = "/binder/iac-adult-2021/privacy"
	for _, one := range []struct {
		path, says string
		fields     map[string]string
	}{
		{policy + "/attach", "Shown by attachment", map[string]string{"title": "Privacy policy", "file:policy.pdf": "what it says"}},
		{"/binder/iac-adult-2021/service/attach", "Not applicable", map[string]string{"not-applicable": "leased"}},
		{"/meetings", "1 present, 1 read the minutes", map[string]string{"date": "2026-07-06", "title": "Quality", "list:attendance.csv": "name,took part\nMarrow^Ines,present\nTallow^Per,read\n", "minutes:minutes.pdf": "said"}},
	} {
		if code, page := c.send(t, one.path, one.fields); code != http.StatusOK || !strings.Contains(page, one.says) {
			t.Fatalf("%s: status %d, without %q\n%s", one.path, code, one.says, page)
		}
	}
	if code, page := c.send(t, "/meetings", map[string]string{"date": "2026-07-06", "title": "x", "list:attendance.csv": "name\nNobody^Here\n"}); code != http.StatusUnprocessableEntity || !strings.Contains(page, "list of staff") || strings.Contains(page, "Nobody") {
		t.Errorf("a stranger took part: status %d", code)
	}
	_, binder := c.look(t, "/binder/iac-adult-2021/document/binder.zip")
	ours := unpacked(t, binder)
	out := filepath.Join(dir, "binder")
	if text, code := perform(append([]string{"binder", "--set", "iac-adult-2021", "--from", "2025-11-01", "--to", "2026-10-31", "--out", out}, ledger...)...); code != 0 {
		t.Fatal(text)
	}
	for _, name := range []string{"requirements.csv", "open.csv", "attachments.csv", "evidence-signed-in-time.csv"} {
		want, err := os.ReadFile(filepath.Join(out, name))
		if err == nil && ours[name] != string(want) {
			t.Errorf("%s of the page\n%s\nof the command\n%s", name, ours[name], want)
		}
	}
	if !strings.HasPrefix(ours["binder.pdf"], "%PDF-") || ours["tables.zip"] == "" || !strings.Contains(ours["requirements.csv"], "shown by attachment") {
		t.Errorf("the binder is not whole: %d files", len(ours))
	}
	if code, page := c.look(t, "/meetings?quarter=2026-Q3"); code != http.StatusOK || !strings.Contains(page, "4. Open actions") {
		t.Errorf("no agenda: status %d", code)
	}
	_, pack := c.look(t, "/meetings/2026-Q3/meeting.zip")
	ours = unpacked(t, pack)
	if out = filepath.Join(dir, "meeting"); ours["attendance.csv"] != "name,took part\n" {
		t.Errorf("attendance.csv is %q", ours["attendance.csv"])
	}
	if text, code := perform(append([]string{"meeting", "pack", "--quarter", "2026-Q3", "--out", out}, ledger...)...); code != 0 {
		t.Fatal(text)
	}
	entries, err := os.ReadDir(out)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if ours[e.Name()] == "" {
			t.Errorf("the pack of the page lacks %s", e.Name())
		}
	}
	code, named := c.send(t, "/meetings/2026-Q3/attendance", map[string]string{"list:staff.csv": string(staff)})
	if code != http.StatusOK {
		t.Fatalf("no form with names: status %d\n%s", code, named)
	}
	if ours = unpacked(t, named); !strings.Contains(ours["attendance.csv"], "Marrow^Ines,\n") || !strings.HasPrefix(ours["attendance.pdf"], "%PDF-") {
		t.Errorf("the form with names: %q", ours["attendance.csv"])
	}
}
