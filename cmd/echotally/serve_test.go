package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"echotally/internal/dcm"
	"echotally/internal/srtest"
)

// listening reads where the program serves.
func (p *atWork) listening(t *testing.T) string {
	t.Helper()
	line, err := p.output.ReadString('\n')
	if err != nil || !strings.HasPrefix(line, "serving\tDICOM\t") {
		t.Fatalf("%q, %v\n%s", line, err, p.stderr.String())
	}
	go func() { // so that it never waits for somebody to read
		for {
			if _, err := p.output.ReadString('\n'); err != nil {
				return
			}
		}
	}()
	return strings.TrimSpace(strings.TrimPrefix(line, "serving\tDICOM\t"))
}

// TestServeLosesNothingAcknowledged: DCMTK sends while the program is killed at random
// moments and begun anew; what was acknowledged is in the ledger in the end, once, and
// what could not be read is in the quarantine.
func TestServeLosesNothingAcknowledged(t *testing.T) {
	if _, err := exec.LookPath("storescu"); err != nil {
		t.Skip("DCMTK is not installed: nothing was sent by another program")
	}
	dir := t.TempDir()
	ledger, key, spool, config := filepath.Join(dir, "lab.db"), filepath.Join(dir, "key"), filepath.Join(dir, "spool"), filepath.Join(dir, "serve.yaml")
	if err := os.WriteFile(config, []byte("quietSeconds: 0\nspool: "+spool+"\ndicom: {listen: \"127.0.0.1:0\", title: LAB}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	start := func() (*atWork, string) {
		p := begin(t, "serve", "--config", config, "--store", ledger, "--key", key)
		return p, p.listening(t)
	}
	p, address := start()
	acknowledged := map[string]bool{}
	const objects, lives = 60, 4
	for n := range objects {
		if n > 0 && n%(objects/lives) == 0 {
			time.Sleep(time.Duration(rand.IntN(30)) * time.Millisecond)
			_ = p.Process.Kill()
			_ = p.Wait()
			p, address = start()
		}
		name := filepath.Join(dir, fmt.Sprint(n, ".dcm"))
		text := fmt.Sprintf("header 00080016 = 1.2.840.10008.5.1.4.1.1.88.33\nheader 00080018 = 2.25.77%d\nheader 0020000D = 2.25.88%d\nheader 00080020 = 20261003\ncontainer DCM:125200 \"Adult Echocardiography Procedure Report\"\n  contains num LN:8867-4 \"Heart rate\" = 6%d /min\n", n, n/2, n%10)
		if err := os.WriteFile(name, srtest.Encode(srtest.Report(t, text), srtest.Encoding{}), 0o600); err != nil {
			t.Fatal(err)
		}
		host, port, _ := net.SplitHostPort(address)
		if exec.Command("storescu", "-R", "-aec", "LAB", host, port, name).Run() == nil {
			acknowledged[fmt.Sprint("2.25.77", n)] = true
		}
	}
	if len(acknowledged) < objects/2 {
		t.Fatalf("only %d objects were acknowledged", len(acknowledged))
	}
	// What waits is recorded at once; the limit is for a program that hangs.
	waiting := filepath.Join(spool, "waiting", "*", "*.dcm")
	for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		if left, _ := filepath.Glob(waiting); len(left) == 0 {
			break
		}
		if time.Since(begun) > 2*time.Minute {
			t.Fatalf("objects still wait\n%s", p.stderr.String())
		}
	}
	if err := p.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	_ = p.Wait()
	known := map[string]bool{}
	recorded, _ := filepath.Glob(filepath.Join(spool, "recorded", "*", "*.dcm"))
	out, code := perform("intake", filepath.Join(spool, "recorded"), "--store", ledger, "--key", key)
	if code != 0 || strings.Contains(out, "recorded\t") && !strings.Contains(out, "0 objects recorded") {
		t.Errorf("what was recorded is not all in the ledger, exit code %d: %s", code, out)
	}
	for _, path := range recorded {
		content, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		f, err := dcm.ReadBytes(content)
		if err != nil {
			t.Fatal(err)
		}
		sum := sha256.Sum256(content)
		if !strings.Contains(out, "known\t"+hex.EncodeToString(sum[:])) {
			t.Errorf("%s is not in the ledger", filepath.Base(path))
		}
		known[f.Identity().SOPInstanceUID] = true
	}
	for uid := range acknowledged {
		if !known[uid] {
			t.Errorf("%s was acknowledged and is nowhere", uid)
		}
	}
	if text, code := perform("ledger", "verify", "--store", ledger, "--key", key); code != 0 || !strings.Contains(text, "holds") {
		t.Errorf("%d: %s", code, text)
	}
}

// TestConfigurationOfServeIsChecked: what cannot be served is said with a hint, before
// anything is opened.
func TestConfigurationOfServeIsChecked(t *testing.T) {
	dir := t.TempDir()
	for text, want := range map[string]string{
		"dicom: {listen: nowhere}":                             "no address with a port",
		"dicom: {title: \"A title that is far too long\"}":     "AE title",
		"dicom: {associations: 0}":                             "associations",
		"quietSeconds: -1":                                     "quietSeconds",
		"dicom: {tls: {certificate: none.pem, key: none.pem}}": "certificate and key",
		"spool: \"\"":                                          "no spool",
		"dicom: {listen: \"\"}":                                "nothing is to be served",
		"colour: red":                                          "colour",
	} {
		name := filepath.Join(dir, "serve.yaml")
		if err := os.WriteFile(name, []byte(text+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		out, code := perform("serve", "check", "--config", name)
		if code != exitUsage || !strings.Contains(out, want) {
			t.Errorf("%s: exit code %d\n%s", text, code, out)
		}
	}
	t.Setenv("ECHOTALLY_DICOM_LISTEN", "127.0.0.1:7")
	t.Setenv("ECHOTALLY_DICOM_ALLOW", "ECHO1,ECHO2")
	t.Setenv("ECHOTALLY_QUIET_SECONDS", "1.5")
	if out, code := perform("serve", "check"); code != 0 || !strings.Contains(out, "DICOM on 127.0.0.1:7\nspool echotally-spool, studies recorded after 1.5 quiet") {
		t.Errorf("exit code %d: %s", code, out)
	}
	t.Setenv("ECHOTALLY_DICOM_ASSOCIATIONS", "many")
	if out, code := perform("serve", "check"); code != exitUsage || !strings.Contains(out, "ECHOTALLY_DICOM_ASSOCIATIONS") {
		t.Errorf("exit code %d: %s", code, out)
	}
}
