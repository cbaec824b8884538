package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestSecretsAreOneLine: a file that is none, is empty, has more than one line or is long
// holds no secret, and what it holds is in no error.
func TestSecretsAreOneLine(t *testing.T) {
	name := filepath.Join(t.TempDir(), "secret")
	if _, err := secretIn(name, 1); err == nil {
		t.Error("read from a file that is not there")
	}
	for text, want := range map[string]string{
		"hush\n": "hush", "hush": "hush", "": "", "\n": "", "hush\nhush\n": "", "hush\x00hush": "", "hu": "", strings.Repeat("hush", mostSecret): "",
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		got, err := secretIn(name, 4)
		if got != want || (err == nil) != (want != "") || err != nil && strings.Contains(err.Error(), "hush") {
			t.Errorf("%.20q: %.20q, %v", text, got, err)
		}
	}
}

// TestWhatServicesAreShownIsLookedAtFirst: before anything is read, judged or sent.
func TestWhatServicesAreShownIsLookedAtFirst(t *testing.T) {
	for _, flag := range [][]string{{"--token", "nowhere"}, {"--tls-authorities", "nowhere"}, {"--wait", "0s"}} {
		args := append([]string{"export", "dicom", "nowhere.dcm", "--findings", "--stow", "http://127.0.0.1:1"}, flag...)
		if text, code := perform(args...); code != exitUsage || !strings.Contains(text, flag[0]) {
			t.Errorf("%v: exit code %d\n%s", flag, code, text)
		}
	}
}

// TestTheSecretOfSigningInIsLookedAtFirst: serve check finds that it cannot be read.
func TestTheSecretOfSigningInIsLookedAtFirst(t *testing.T) {
	o := &oidcPart{Issuer: "https://id.example", Client: "x", Back: "https://echo.example/sign-in/back", Roles: []string{"echo-lab=reader"}}
	o.SecretFile = filepath.Join(t.TempDir(), "secret")
	if err := o.check(); err == nil || !strings.Contains(err.Error(), "web.oidc.secretFile cannot be read") {
		t.Error(err)
	}
	if err := os.WriteFile(o.SecretFile, []byte("hush\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := o.check(); err != nil {
		t.Error(err)
	}
}
