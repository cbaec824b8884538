package web

import (
	"flag"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/account"
	"echotally/internal/account/session"
	"echotally/internal/store/keyfile"
	"echotally/internal/trail"
	"echotally/internal/web/access"
	"echotally/internal/web/frame"
	"echotally/internal/web/health"
	"echotally/internal/web/study"
	"echotally/internal/web/upload"
)

var update = flag.Bool("update", false, "write the expected files anew")

// newSite serves every page there is on an empty ledger.
func newSite(t testing.TB, change ...func(*Pages)) (*frame.Site, *httptest.Server) {
	t.Helper()
	dir := t.TempDir()
	if _, err := keyfile.Make(filepath.Join(dir, "key")); err != nil {
		t.Fatal(err)
	}
	return siteIn(t, dir, change...)
}

// siteIn serves every page on the ledger of a folder, with the key that lies there.
func siteIn(t testing.TB, dir string, change ...func(*Pages)) (*frame.Site, *httptest.Server) {
	t.Helper()
	lab := labIn(t, dir)
	t.Cleanup(func() { lab.Ledger.Close() })
	accounts, err := account.Open(filepath.Join(dir, "accounts.json"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	seen, err := trail.Open(filepath.Join(dir, "access.log"), time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { seen.Close() })
	site := &frame.Site{
		Lab:      lab,
		Accounts: accounts, Sessions: &session.Sessions{Idle: time.Hour, Most: time.Hour, Now: time.Now}, Trail: seen, Log: zerolog.Nop(), Now: time.Now, Software: "echotally test", Upload: 64 << 20,
	}
	pages := &Pages{Access: &access.Pages{}, Study: &study.Pages{}, Upload: &upload.Pages{Dir: dir}, Health: &health.Pages{Receivers: []health.Receiver{{Kind: "DICOM", Host: "127.0.0.1", Port: "11112", Title: "LAB"}}, Folders: map[string]string{"ledger": dir}}}
	labPages(t, dir, site.Lab.Work, pages)
	for _, c := range change {
		c(pages)
	}
	if err := site.Start(pages.Table(), Templates()...); err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(site)
	t.Cleanup(server.Close)
	return site, server
}

// client asks the server with the cookie of a session, and goes nowhere by itself.
type client struct {
	*http.Client
	cookie string
}

func newClient(site *frame.Site, roles ...account.Role) *client {
	c := &client{Client: &http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, Timeout: time.Minute}}
	if len(roles) > 0 {
		c.cookie = site.Sessions.Begin("Quill", roles)
	}
	return c
}

func (c *client) ask(t testing.TB, r *http.Request) *http.Response {
	t.Helper()
	if c.cookie != "" {
		r.AddCookie(&http.Cookie{Name: "echotally", Value: c.cookie})
	}
	answer, err := c.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { answer.Body.Close() })
	return answer
}
