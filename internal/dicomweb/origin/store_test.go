package origin_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/dicomweb/origin"
	"echotally/internal/spool"
	"echotally/internal/srtest"
)

const srClass = "1.2.840.10008.5.1.4.1.1.88.33"

// storing begins an origin server on a free port; it ends with the test.
func storing(t testing.TB, change func(*origin.Store)) (*origin.Store, string) {
	t.Helper()
	s := &origin.Store{
		Storage: func(class string) bool { return class == srClass }, Log: zerolog.Nop(), Idle: 5 * time.Second, MostBytes: 20_000, MostRequest: 200_000, MostObjects: 20,
		Spool: &spool.Spool{Dir: t.TempDir(), Check: func(path string) (spool.Identity, spool.Status, error) {
			content, err := os.ReadFile(path)
			if err != nil {
				return spool.Identity{}, spool.OutOfResources, err
			}
			f, err := dcm.ReadBytes(content)
			if err != nil {
				return spool.Identity{}, spool.CannotUnderstand, err
			}
			is := f.Identity()
			return spool.Identity{Class: is.SOPClassUID, Instance: is.SOPInstanceUID, Study: is.StudyInstanceUID}, spool.Success, nil
		}},
	}
	if change != nil {
		change(s)
	}
	if err := s.Spool.Make("test"); err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	var wait sync.WaitGroup
	wait.Go(func() {
		if err := s.Serve(ctx, l, 32, nil); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(func() { stop(); wait.Wait() })
	return s, "http://" + l.Addr().String() + origin.Base
}

// object is a report of study 2.25.7 or another.
func object(t testing.TB, class, instance, study string) []byte {
	t.Helper()
	return dcmtest.Encode(srtest.Report(t, fmt.Sprintf("header 00080016 = %s\nheader 00080018 = %s\nheader 0020000D = %s\ncontainer DCM:125200 \"Adult Echocardiography Procedure Report\"\n", class, instance, study)), dcmtest.Encoding{})
}

// related is a body of parts, each application/dicom unless it begins with a type.
func related(parts ...[]byte) []byte {
	var b bytes.Buffer
	for _, p := range parts {
		b.WriteString("--MESSAGEBOUNDARY\r\nContent-Type: application/dicom\r\n\r\n")
		b.Write(append(p, "\r\n"...))
	}
	return append(b.Bytes(), "--MESSAGEBOUNDARY--\r\n"...)
}

const multipartDICOM = `multipart/related; type="application/dicom"; boundary=MESSAGEBOUNDARY`

// module is what is tested of a Store Instances Response Module (PS3.18 annex I).
type module struct {
	Stored  []item `json:"-"`
	Failed  []item `json:"-"`
	Unknown []item `json:"-"`
}

type item struct {
	instance string
	reason   int
}

// parseModule reads the DICOM JSON model (PS3.18 annex F): tags are keys, each with its
// VR and, where it has one, its value.
func parseModule(t testing.TB, b []byte) module {
	t.Helper()
	type attribute struct {
		VR    string                       `json:"vr"`
		Value []map[string]json.RawMessage `json:"Value"`
	}
	var raw map[string]json.RawMessage
	if err := json.Unmarshal(b, &raw); err != nil {
		t.Fatalf("%v: %s", err, b)
	}
	if string(raw["00081190"]) != `{"vr":"UR"}` {
		t.Errorf("Retrieve URL: %s", raw["00081190"])
	}
	items := func(tag string) (out []item) {
		if raw[tag] == nil {
			return nil
		}
		var sequence attribute
		if err := json.Unmarshal(raw[tag], &sequence); err != nil || sequence.VR != "SQ" {
			t.Fatalf("%s: %v %s", tag, err, raw[tag])
		}
		for _, set := range sequence.Value {
			var uid struct{ Value []string }
			var reason struct{ Value []int }
			one := item{}
			if set["00081155"] != nil && json.Unmarshal(set["00081155"], &uid) == nil {
				one.instance = uid.Value[0]
			}
			if set["00081197"] != nil && json.Unmarshal(set["00081197"], &reason) == nil {
				one.reason = reason.Value[0]
			}
			out = append(out, one)
		}
		return out
	}
	return module{items("00081199"), items("00081198"), items("0008119A")}
}

// TestStoreAnswersByTheStandard: statuses of PS3.18 table 10.5.3-1 and section 8.5, and
// what the module says of each object (annex I); only what is told as stored waits in
// the spool.
func TestStoreAnswersByTheStandard(t *testing.T) {
	good, second := object(t, srClass, "2.25.11", "2.25.7"), object(t, srClass, "2.25.12", "2.25.7")
	other, class := object(t, srClass, "2.25.13", "2.25.8"), object(t, "1.2.840.10008.5.1.4.1.1.88.22", "2.25.14", "2.25.7")
	for name, tt := range map[string]struct {
		to, kind, accept string
		body             []byte
		status           int
		want             string // instances with their reasons: stored | failed | of unknown name
	}{
		"two objects":                           {"/studies", "", "", related(good, second), 200, "2.25.11:0 2.25.12:0 | | "},
		"to their study":                        {"/studies/2.25.7", "", "application/dicom+json", related(good), 200, "2.25.11:0 | | "},
		"one of another study":                  {"/studies/2.25.7", "", "", related(good, other), 202, "2.25.11:0 | 2.25.13:43264 | "},
		"all of another study":                  {"/studies/2.25.7", "", "*/*", related(other), 409, "| 2.25.13:43264 | "},
		"a class not taken":                     {"/studies", "", "", related(class), 409, "| 2.25.14:290 | "},
		"one cannot be read":                    {"/studies", "", "", related(good, []byte("nothing of DICOM")), 202, "2.25.11:0 | | :49152"},
		"none can be read":                      {"/studies", "", "", related([]byte("nothing of DICOM")), 409, "| | :49152"},
		"an object too long":                    {"/studies", "", "", related(make([]byte, 30_000)), 413, "| | :42752"},
		"a request too long":                    {"/studies", "", "", related(make([]byte, 300_000)), 413, ""},
		"no part":                               {"/studies", "", "", related(), 400, ""},
		"nothing":                               {"/studies", "", "", nil, 400, ""},
		"cut in the first":                      {"/studies", "", "", related(good)[:400], 400, ""},
		"cut in the second":                     {"/studies", "", "", related(good, second)[:len(good)+400], 202, "2.25.11:0 | | :49152"},
		"another boundary":                      {"/studies", `multipart/related; type="application/dicom"; boundary=X`, "", related(good), 400, ""},
		"no boundary":                           {"/studies", `multipart/related; type="application/dicom"`, "", related(good), 400, ""},
		"metadata and bulkdata":                 {"/studies", `multipart/related; type="application/dicom+json"; boundary=MESSAGEBOUNDARY`, "", related(good), 415, ""},
		"one part alone":                        {"/studies", "application/dicom", "", good, 415, ""},
		"only XML is accepted":                  {"/studies", "", "application/dicom+xml", related(good), 406, ""},
		"the study in the address is not a UID": {"/studies/..%2F7", "", "", related(good), 400, ""},
		"more than are taken":                   {"/studies", "", "", related(bytes.Split(bytes.Repeat([]byte{1, 'x'}, 21), []byte{'x'})[:21]...), 413, "| | " + strings.TrimSpace(strings.Repeat(":49152 ", 20))},
	} {
		t.Run(name, func(t *testing.T) {
			s, url := storing(t, nil)
			r, err := http.NewRequest(http.MethodPost, url+tt.to, bytes.NewReader(tt.body))
			if err != nil {
				t.Fatal(err)
			}
			r.Header.Set("Content-Type", multipartDICOM)
			if tt.kind != "" {
				r.Header.Set("Content-Type", tt.kind)
			}
			if tt.accept != "" {
				r.Header.Set("Accept", tt.accept)
			}
			status, got, header := ask(t, r)
			if status != tt.status {
				t.Fatalf("status %d, want %d: %s", status, tt.status, got)
			}
			stored := 0
			if tt.want != "" {
				m := parseModule(t, got)
				stored = len(m.Stored)
				if said := said(m); said != strings.TrimSpace(tt.want) {
					t.Errorf("%s\nwant %s", said, tt.want)
				}
				if kind := header.Get("Content-Type"); kind != "application/dicom+json" {
					t.Errorf("answered as %s", kind)
				}
			}
			if warned := strings.HasPrefix(header.Get("Warning"), "299 "); warned != (status == http.StatusAccepted) {
				t.Errorf("Warning: %q", header.Get("Warning"))
			}
			if waits := dcmtest.Files(t, s.Spool.Waiting()); len(waits) != stored {
				t.Errorf("%d wait, %d were told as stored", len(waits), stored)
			}
			if left := dcmtest.Files(t, filepath.Join(s.Spool.Dir, ".arriving")); len(left) > 0 {
				t.Errorf("left half: %v", left)
			}
		})
	}
}

func said(m module) string {
	var parts []string
	for _, list := range [][]item{m.Stored, m.Failed, m.Unknown} {
		var words []string
		for _, one := range list {
			words = append(words, fmt.Sprint(one.instance, ":", one.reason))
		}
		parts = append(parts, strings.Join(words, " "))
	}
	return strings.TrimSpace(strings.NewReplacer("|  |", "| |").Replace(strings.Join(parts, " | ")))
}

func ask(t testing.TB, r *http.Request) (int, []byte, http.Header) {
	t.Helper()
	response, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer response.Body.Close()
	body, err := io.ReadAll(response.Body)
	if err != nil {
		t.Fatal(err)
	}
	return response.StatusCode, body, response.Header
}

// TestOnlyTheBearerStores: without the token, or by another method, nothing is taken.
func TestOnlyTheBearerStores(t *testing.T) {
	s, url := storing(t, func(s *origin.Store) { s.Token = "a token of sixteen" })
	for shown, want := range map[string]int{"": 401, "Bearer another": 401, "Basic a token of sixteen": 401, "Bearer a token of sixteen": 200} {
		r, _ := http.NewRequest(http.MethodPost, url+"/studies", bytes.NewReader(related(object(t, srClass, "2.25.11", "2.25.7"))))
		r.Header.Set("Content-Type", multipartDICOM)
		if shown != "" {
			r.Header.Set("Authorization", shown)
		}
		if status, _, header := ask(t, r); status != want || status == 401 && !strings.HasPrefix(header.Get("WWW-Authenticate"), "Bearer") {
			t.Errorf("%q: status %d, want %d", shown, status, want)
		}
	}
	r, _ := http.NewRequest(http.MethodGet, url+"/studies", nil)
	r.Header.Set("Authorization", "Bearer a token of sixteen")
	if status, _, header := ask(t, r); status != http.StatusMethodNotAllowed || header.Get("Allow") != http.MethodPost {
		t.Errorf("GET: status %d", status)
	}
	if waits := dcmtest.Files(t, s.Spool.Waiting()); len(waits) != 1 {
		t.Errorf("%d objects wait, want 1", len(waits))
	}
}

// TestAFullDiskIsNoSuccess: what cannot be kept is not told as stored, and the sender
// may try again.
func TestAFullDiskIsNoSuccess(t *testing.T) {
	s, url := storing(t, nil)
	if err := os.RemoveAll(filepath.Join(s.Spool.Dir, ".arriving")); err != nil {
		t.Fatal(err)
	}
	r, _ := http.NewRequest(http.MethodPost, url+"/studies", bytes.NewReader(related(object(t, srClass, "2.25.11", "2.25.7"))))
	r.Header.Set("Content-Type", multipartDICOM)
	if status, body, header := ask(t, r); status != http.StatusServiceUnavailable || header.Get("Retry-After") == "" {
		t.Errorf("status %d: %s", status, body)
	}
}

// TestCurlStores: the multipart body of another program, with its own boundary.
func TestCurlStores(t *testing.T) {
	if _, err := exec.LookPath("curl"); err != nil {
		t.Skip("curl is not installed: nothing was stored by another program")
	}
	s, url := storing(t, nil)
	args := []string{"--silent", "--show-error", "--header", `Content-Type: multipart/related; type="application/dicom"`, "--header", "Accept: application/dicom+json"}
	for _, uid := range []string{"2.25.11", "2.25.12"} {
		name := filepath.Join(t.TempDir(), uid)
		if err := os.WriteFile(name, object(t, srClass, uid, "2.25.7"), 0o600); err != nil {
			t.Fatal(err)
		}
		args = append(args, "--form", "f=@"+name+";type=application/dicom")
	}
	out, err := exec.Command("curl", append(args, url+"/studies/2.25.7")...).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if got := said(parseModule(t, out)); got != "2.25.11:0 2.25.12:0 | |" {
		t.Errorf("%s", out)
	}
	if waits := dcmtest.Files(t, s.Spool.Waiting()); len(waits) != 2 {
		t.Errorf("%d objects wait", len(waits))
	}
}

// TestAClientOfOthersStores: a DICOMweb client from the registry of npm stores two
// objects and understands the answer.
func TestAClientOfOthersStores(t *testing.T) {
	if _, err := exec.LookPath("node"); err != nil {
		t.Skip("node is not installed: nothing was stored by a client of others")
	}
	if _, err := os.Stat("testdata/client/node_modules/dicomweb-client"); err != nil {
		t.Skip("the packages of internal/dicomweb/origin/testdata/client are not installed (npm ci in that folder): nothing was stored by a client of others")
	}
	s, url := storing(t, func(s *origin.Store) { s.Token = "a token of sixteen" })
	args := []string{"testdata/client/store.js", url, "a token of sixteen", "2.25.7"}
	want := map[string][]byte{}
	for _, uid := range []string{"2.25.11", "2.25.12"} {
		name := filepath.Join(t.TempDir(), uid)
		want[uid] = object(t, srClass, uid, "2.25.7")
		if err := os.WriteFile(name, want[uid], 0o600); err != nil {
			t.Fatal(err)
		}
		args = append(args, name)
	}
	out, err := exec.Command("node", args...).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "stored 2.25.11,2.25.12 refused 0") {
		t.Fatalf("%v: %s", err, out)
	}
	for _, name := range dcmtest.Files(t, s.Spool.Waiting()) {
		content, err := os.ReadFile(name)
		uid, _, _ := strings.Cut(filepath.Base(name), "-")
		if err != nil || !bytes.Equal(content, want[uid]) {
			t.Errorf("%s is not what was sent", uid)
		}
		delete(want, uid)
	}
	if len(want) > 0 {
		t.Errorf("%d objects do not wait", len(want))
	}
}
