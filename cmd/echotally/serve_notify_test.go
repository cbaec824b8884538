package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestWhoIsToldIsToldOverARestart: a study with findings and an object that could not
// be read are recorded while the webhook is down, the program is killed, and the next
// one tells both, each once, without naming the study. What comes later of the study is
// told only when it has other findings then, as an update.
func TestWhoIsToldIsToldOverARestart(t *testing.T) {
	dir := t.TempDir()
	spool, config, secret := filepath.Join(dir, "spool"), filepath.Join(dir, "serve.yaml"), filepath.Join(dir, "secret")
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	hook := l.Addr().String()
	l.Close() // down at first
	text := "quietSeconds: 0\nspool: " + spool + "\ndicom: {listen: \"\"}\nstow: {listen: \"127.0.0.1:0\"}\nnotify: {severity: information, webhook: {url: \"http://" + hook + "/hook\", secretFile: " + secret + "}}\n"
	for name, content := range map[string]string{config: text, secret: "a secret of sixteen\n"} {
		if err := os.WriteFile(name, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	start := func() (*atWork, string) {
		p := begin(t, "serve", "--config", config, "--store", filepath.Join(dir, "lab.db"), "--key", filepath.Join(dir, "key"))
		return p, p.listening(t, "STOW-RS")["STOW-RS"]
	}
	p, address := start()
	report := servedReport(t, "2.25.88", "2.25.770", 60)
	if !storeOverWeb(address, report) || storeOverWeb(address, []byte("nothing of DICOM")) {
		t.Fatal("stored or not stored")
	}
	p.emptied(t, spool)
	_ = p.Process.Kill()
	_ = p.Wait()
	if l, err = net.Listen("tcp", hook); err != nil {
		t.Fatal(err)
	}
	type event struct{ ID, Event, Updates string }
	bodies := make(chan string, 100)
	server := &http.Server{Handler: http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		b, _ := io.ReadAll(r.Body)
		bodies <- string(b)
	})}
	go func() { _ = server.Serve(l) }()
	defer server.Close()
	p, address = start()
	if !storeOverWeb(address, report) { // known: nothing to tell
		t.Fatal("not stored")
	}
	told := map[string]int{}
	next := func() (e event) {
		select {
		case body := <-bodies:
			if err := json.Unmarshal([]byte(body), &e); err != nil || strings.Contains(body, "2.25.") {
				t.Errorf("%v: %s", err, body)
			}
			told[e.Event]++
		case <-time.After(2 * time.Minute):
			t.Fatalf("told %v\n%s", told, p.stderr.String())
		}
		return e
	}
	first := next()
	if e := next(); e.Event == "study-with-findings" {
		first = e
	}
	p.emptied(t, spool)
	if told["study-with-findings"] != 1 || told["object-in-quarantine"] != 1 || len(bodies) > 0 {
		t.Errorf("told %v, and %d more", told, len(bodies))
	}
	// A second report of the same value changes no finding; one with a rate that cannot be does.
	for n, rate := range []int{60, 700} {
		if !storeOverWeb(address, servedReport(t, "2.25.88", fmt.Sprint("2.25.78", n), rate)) {
			t.Fatal("not stored")
		}
		p.emptied(t, spool)
		if rate == 700 {
			if e := next(); e.Event != "study-with-findings" || e.Updates != first.ID || e.ID == first.ID {
				t.Errorf("%+v, after %+v", e, first)
			}
		}
	}
	p.emptied(t, spool)
	p.end(t)
	if len(bodies) > 0 {
		t.Errorf("told %v, and %d more", told, len(bodies))
	}
}
