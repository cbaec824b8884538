package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/srtest"
)

// listening reads where the program serves, as it names each.
func (p *atWork) listening(t testing.TB, what ...string) map[string]string {
	t.Helper()
	at := map[string]string{}
	for range what {
		line, err := p.output.ReadString('\n')
		fields := strings.Split(strings.TrimSpace(line), "\t")
		if err != nil || len(fields) != 3 || fields[0] != "serving" || !slices.Contains(what, fields[1]) {
			t.Fatalf("%q, %v\n%s", line, err, p.stderr.String())
		}
		at[fields[1]] = fields[2]
	}
	go func() { // so that it never waits for somebody to read
		for {
			if _, err := p.output.ReadString('\n'); err != nil {
				return
			}
		}
	}()
	return at
}

// storeOverWeb stores one object and reports whether it was acknowledged.
func storeOverWeb(address string, content []byte) bool {
	body := slices.Concat([]byte("--b\r\nContent-Type: application/dicom\r\n\r\n"), content, []byte("\r\n--b--\r\n"))
	r, err := http.Post("http://"+address+"/dicomweb/studies", `multipart/related; type="application/dicom"; boundary=b`, bytes.NewReader(body))
	if err != nil {
		return false
	}
	r.Body.Close()
	return r.StatusCode == http.StatusOK
}

// emptied waits until nothing waits in a spool; the limit is for a program that hangs.
func (p *atWork) emptied(t testing.TB, spool string) {
	t.Helper()
	for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		if left, _ := filepath.Glob(filepath.Join(spool, "waiting", "*", "*.dcm")); len(left) == 0 {
			return
		}
		if time.Since(begun) > 2*time.Minute {
			t.Fatalf("objects still wait\n%s", p.stderr.String())
		}
	}
}

// end has the program end, and waits for it.
func (p *atWork) end(t testing.TB) {
	t.Helper()
	if err := p.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	_ = p.Wait()
}

// servedReport is a report of a heart rate, as a file.
func servedReport(t *testing.T, study, instance string, rate int) []byte {
	t.Helper()
	return dcmtest.Encode(srtest.Report(t, servedText(study, instance, rate)), dcmtest.Encoding{})
}

// servedText is the same as text.
func servedText(study, instance string, rate int) string {
	return fmt.Sprintf("header 00080016 = 1.2.840.10008.5.1.4.1.1.88.33\nheader 00080018 = %s\nheader 0020000D = %s\nheader 00080020 = 20261003\ncontainer DCM:125200 \"Adult Echocardiography Procedure Report\"\n  contains num LN:8867-4 \"Heart rate\" = %d /min\n", instance, study, rate)
}

// TestServeLosesNothingAcknowledged: DCMTK sends and objects are stored over the web while the program is killed at random
// moments and begun anew; what was acknowledged is in the ledger in the end, once, and
// what could not be read is in the quarantine.
func TestServeLosesNothingAcknowledged(t *testing.T) {
	if _, err := exec.LookPath("storescu"); err != nil {
		t.Skip("DCMTK is not installed: nothing was sent by another program")
	}
	dir := t.TempDir()
	ledger, key, spool, config := filepath.Join(dir, "lab.db"), filepath.Join(dir, "key"), filepath.Join(dir, "spool"), filepath.Join(dir, "serve.yaml")
	if err := os.WriteFile(config, []byte("quietSeconds: 0\nspool: "+spool+"\ndicom: {listen: \"127.0.0.1:0\", title: LAB}\nstow: {listen: \"127.0.0.1:0\"}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	start := func() (*atWork, map[string]string) {
		p := begin(t, "serve", "--config", config, "--store", ledger, "--key", key)
		return p, p.listening(t, "DICOM", "STOW-RS")
	}
	p, at := start()
	acknowledged := map[string]bool{}
	const objects, lives = 60, 4
	for n := range objects {
		if n > 0 && n%(objects/lives) == 0 {
			time.Sleep(time.Duration(rand.IntN(30)) * time.Millisecond)
			_ = p.Process.Kill()
			_ = p.Wait()
			p, at = start()
		}
		name, uid := filepath.Join(dir, fmt.Sprint(n, ".dcm")), fmt.Sprint("2.25.77", n)
		content := servedReport(t, fmt.Sprint("2.25.88", n/2), uid, 60+n%10)
		if err := os.WriteFile(name, content, 0o600); err != nil {
			t.Fatal(err)
		}
		host, port, _ := net.SplitHostPort(at["DICOM"])
		if n%3 == 0 {
			acknowledged[uid] = storeOverWeb(at["STOW-RS"], content)
		} else {
			acknowledged[uid] = exec.Command("storescu", "-R", "-aec", "LAB", host, port, name).Run() == nil
		}
	}
	maps.DeleteFunc(acknowledged, func(_ string, is bool) bool { return !is })
	if len(acknowledged) < objects/2 {
		t.Fatalf("only %d objects were acknowledged", len(acknowledged))
	}
	p.emptied(t, spool)
	p.end(t)
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

// TestASpoolIsServedOnce: a second program in the same spool is refused, whichever way it
// would record, and says which folder it is, why, and what to do; once the first has
// ended, even killed, the next has the spool.
func TestASpoolIsServedOnce(t *testing.T) {
	dir := t.TempDir()
	ledger, key, spool, config := filepath.Join(dir, "lab.db"), filepath.Join(dir, "key"), filepath.Join(dir, "spool"), filepath.Join(dir, "serve.yaml")
	if err := os.WriteFile(config, []byte("spool: "+spool+"\ndicom: {listen: \"127.0.0.1:0\"}\nweb: {listen: \"\"}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p := begin(t, "serve", "--config", config, "--store", ledger, "--key", key)
	p.listening(t, "DICOM")
	archive := emptyArchive(t)
	fetch := []string{"fetch", "--dicomweb", archive, "--from", "2026-10-01", "--to", "2026-10-01", "--spool", spool, "--store", ledger, "--key", key}
	for _, args := range [][]string{{"serve", "--config", config, "--store", ledger, "--key", key}, append(slices.Clone(fetch), "--record")} {
		out, code := perform(args...)
		if code != exitFailure || !strings.Contains(out, "spool "+spool+": another echotally") || !strings.Contains(out, "hint: end the other one") {
			t.Errorf("%s beside serve: exit code %d, %s", args[0], code, out)
		}
	}
	if out, code := perform(fetch...); code != 0 {
		t.Errorf("fetch without --record beside serve: exit code %d, %s", code, out)
	}
	_ = p.Process.Kill()
	_ = p.Wait()
	p = begin(t, "serve", "--config", config, "--store", ledger, "--key", key)
	p.listening(t, "DICOM")
	p.end(t)
}

// TestConfigurationOfServeIsChecked: what cannot be served is said with a hint, before
// anything is opened.
func TestConfigurationOfServeIsChecked(t *testing.T) {
	dir := t.TempDir()
	for text, want := range map[string]string{
		"dicom: {listen: nowhere}":                                         "has to be an address with a port",
		"dicom: {title: \"A title that is far too long\"}":                 "AE title",
		"dicom: {associations: 0}":                                         "associations",
		"quietSeconds: -1":                                                 "quietSeconds",
		"dicom: {tls: {certificate: none.pem, key: none.pem}}":             "certificate and key",
		"spool: \"\"":                                                      "spool names no folder",
		"dicom: {listen: \"\"}":                                            "nothing would be served",
		"stow: {listen: \"0.0.0.0:1\"}":                                    "without protection",
		"stow: {listen: \"0.0.0.0:1\", tokenFile: x}":                      "without protection",
		"stow: {listen: \"127.0.0.1:1\", tokenFile: none}":                 "stow.tokenFile cannot be read",
		"stow: {listen: \"127.0.0.1:1\", objectMegabytes: 0}":              "objectMegabytes",
		"stow: {listen: \"127.0.0.1:1\", connections: 0}":                  "connections",
		"notify: {severity: grave}":                                        "notify.severity",
		"notify: {webhook: {url: \"http://example.org/\"}}":                "notify.webhook.url",
		"notify: {webhook: {url: \"https://example.org/\"}}":               "notify.webhook.secretFile",
		"notify: {authorities: none.pem}":                                  "notify.authorities",
		"notify: {mail: {server: nowhere}}":                                "notify.mail.server",
		"notify: {mail: {server: \"example.org:25\", security: none}}":     "this machine only",
		"notify: {mail: {server: \"example.org:25\", to: [a@b], from: x}}": "not a mail address",
		"notify: {mail: {server: \"example.org:25\"}}":                     "names nobody",
		"watch: {folder: none}":                                            "watch.folder",
		"colour: red":                                                      "colour",
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
	t.Setenv("ECHOTALLY_STOW_LISTEN", "localhost:8")
	t.Setenv("ECHOTALLY_WATCH_FOLDER", dir)
	if out, code := perform("serve", "check"); code != 0 || !strings.Contains(out, "DICOM on 127.0.0.1:7\nSTOW-RS on localhost:8/dicomweb/studies\nfolder "+dir+" watched\nspool echotally-spool, studies recorded after 1.5 quiet") {
		t.Errorf("exit code %d: %s", code, out)
	}
	t.Setenv("ECHOTALLY_DICOM_ASSOCIATIONS", "many")
	if out, code := perform("serve", "check"); code != exitUsage || !strings.Contains(out, "ECHOTALLY_DICOM_ASSOCIATIONS") {
		t.Errorf("exit code %d: %s", code, out)
	}
}

// TestTheExampleConfigurationHolds: the configuration that the help prints is one, and
// says what holds without any.
func TestTheExampleConfigurationHolds(t *testing.T) {
	name := filepath.Join(t.TempDir(), "serve.yaml")
	if err := os.WriteFile(name, []byte(serveExample()), 0o600); err != nil {
		t.Fatal(err)
	}
	given, code := perform("serve", "check", "--config", name)
	without, same := perform("serve", "check")
	if code != 0 || same != 0 || given != without {
		t.Errorf("%d: %s\n%d: %s", code, given, same, without)
	}
	for _, s := range new(serveConfig).sections() {
		if !strings.Contains(serveExample(), s.example()) {
			t.Errorf("the example lacks %s", s.example())
		}
	}
}

// TestEveryLineCanBeSetByTheEnvironment: to what holds without it, which changes
// nothing, and to what its kind cannot be, which is said.
func TestEveryLineCanBeSetByTheEnvironment(t *testing.T) {
	want, err := readServeConfig("")
	if err != nil {
		t.Fatal(err)
	}
	lines, wrong := 0, 0
	var set func(prefix string, v reflect.Value)
	set = func(prefix string, v reflect.Value) {
		for i := range v.NumField() {
			name := prefix + "_" + strings.ToUpper(regexp.MustCompile("([a-z])([A-Z])").ReplaceAllString(v.Type().Field(i).Tag.Get("yaml"), "${1}_$2"))
			if v.Field(i).Kind() == reflect.Struct {
				set(name, v.Field(i))
				continue
			}
			lines++
			text := strings.Trim(fmt.Sprint(v.Field(i).Interface()), "[]")
			if v.Field(i).Kind() != reflect.String && v.Field(i).Kind() != reflect.Slice {
				wrong++
				t.Setenv(name, "of another kind")
				if _, err := readServeConfig(""); err == nil || !strings.Contains(err.Error(), name) {
					t.Errorf("%s: %v", name, err)
				}
			}
			t.Setenv(name, text)
		}
	}
	set("ECHOTALLY", reflect.ValueOf(want).Elem())
	got, err := readServeConfig("")
	if err != nil || fmt.Sprint(got) != fmt.Sprint(want) || lines < 30 || wrong < 8 {
		t.Errorf("%d lines, %d of them no texts, %v\n%+v\nwant %+v", lines, wrong, err, got, want)
	}
}

// TestReceiversShareOneProcess: reports of one study that come to a watched folder, by
// DICOM and over the web are in one ledger, as one study.
func TestReceiversShareOneProcess(t *testing.T) {
	dir := t.TempDir()
	ledger, key, spool, watched, config := filepath.Join(dir, "lab.db"), filepath.Join(dir, "key"), filepath.Join(dir, "spool"), filepath.Join(dir, "watched"), filepath.Join(dir, "serve.yaml")
	if err := os.Mkdir(watched, 0o700); err != nil {
		t.Fatal(err)
	}
	text := "quietSeconds: 0\nspool: " + spool + "\ndicom: {listen: \"\"}\nstow: {listen: \"127.0.0.1:0\"}\nwatch: {folder: " + watched + ", settleSeconds: 0.01, rescanSeconds: 1}\n"
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	p := begin(t, "serve", "--config", config, "--store", ledger, "--key", key)
	at := p.listening(t, "STOW-RS")
	for n := range 4 {
		content, name := servedReport(t, "2.25.88", fmt.Sprint("2.25.77", n), 60+n), filepath.Join(watched, fmt.Sprint(n, ".dcm"))
		if n%2 == 0 {
			if !storeOverWeb(at["STOW-RS"], content) {
				t.Fatal("not stored")
			}
		} else if err := os.WriteFile(name, content, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	p.emptied(t, spool)
	for begun := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		out, code := perform("ledger", "stats", "--store", ledger)
		if code == 0 && strings.Contains(out, "studies       1,") && strings.Contains(out, "objects       4 read") {
			break
		}
		if time.Since(begun) > 2*time.Minute {
			t.Fatalf("%d: %s\n%s", code, out, p.stderr.String())
		}
	}
	p.end(t)
}
