package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// emptyArchive finds nothing; it gives its URL.
func emptyArchive(t *testing.T) string {
	t.Helper()
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNoContent) }))
	t.Cleanup(server.Close)
	return server.URL
}

// TestFetchRecordsAMonth: reports of an archive that wants a password are in the ledger
// after one command, and the next one fetches nothing. What an archive does else is
// tried in package dicomweb.
func TestFetchRecordsAMonth(t *testing.T) {
	content := map[string][]byte{"2.25.771": servedReport(t, "2.25.88", "2.25.771", 61), "2.25.772": servedReport(t, "2.25.88", "2.25.772", 62)}
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if user, password, _ := r.BasicAuth(); user != "lab" || password != "secret" {
			w.WriteHeader(http.StatusUnauthorized)
			return
		}
		path, found := strings.TrimPrefix(r.URL.Path, "/dicomweb"), ""
		switch q := r.URL.Query(); {
		case strings.Contains(path, "/instances/"):
			w.Header().Set("Content-Type", `multipart/related; type="application/dicom"; boundary=b`)
			fmt.Fprintf(w, "--b\r\nContent-Type: application/dicom\r\n\r\n%s\r\n--b--\r\n", content[filepath.Base(path)])
			return
		case q.Get("offset") != "0":
		case path == "/studies" && q.Get("StudyDate") == "20261003":
			found = `[{"0020000D":{"vr":"UI","Value":["2.25.88"]}}]`
		case strings.HasSuffix(path, "/series"):
			found = `[{"0020000E":{"vr":"UI","Value":["2.25.88.1"]},"00080060":{"vr":"CS","Value":["SR"]}}]`
		case strings.HasSuffix(path, "/instances"):
			found = `[{"00080018":{"vr":"UI","Value":["2.25.771"]}},{"00080018":{"vr":"UI","Value":["2.25.772"]}}]`
		}
		if found == "" {
			w.WriteHeader(http.StatusNoContent)
		}
		_, _ = w.Write([]byte(found))
	}))
	defer server.Close()
	dir := t.TempDir()
	credentials := filepath.Join(dir, "credentials.yaml")
	if err := os.WriteFile(credentials, []byte("user: lab\npassword: secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	fetch := func(more ...string) (string, int) {
		return perform(append([]string{"fetch", "--dicomweb", server.URL + "/dicomweb", "--from", "2026-10-01", "--to", "2026-10-05", "--rate", "1000", "--spool", filepath.Join(dir, "spool")}, more...)...)
	}
	record := []string{"--record", "--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key"), "--credentials", credentials}
	if out, code := fetch(); code == 0 || !strings.Contains(out, "status 401") {
		t.Errorf("without a password: %d: %s", code, out)
	}
	if out, code := fetch(record...); code != 0 || !strings.Contains(out, "fetched\t1 studies\t2 objects\t0 known") || !strings.Contains(out, "study\tnew\t2.25.88") {
		t.Errorf("%d: %s", code, out)
	}
	if out, code := fetch(record...); code != 0 || !strings.Contains(out, "fetched\t1 studies\t0 objects\t2 known") {
		t.Errorf("again: %d: %s", code, out)
	}
	if out, code := perform("ledger", "stats", "--store", filepath.Join(dir, "lab.db")); code != 0 || !strings.Contains(out, "objects       2 read") {
		t.Errorf("%d: %s", code, out)
	}
}
