package send

import (
	"io"
	"mime"
	"mime/multipart"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/mutate"
	"echotally/internal/spool"
)

func posted() []Outgoing {
	var out []Outgoing
	for _, instance := range []string{"2.25.1", "2.25.2"} {
		d := dcm.New(dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.88.11"), dcm.Strings(dcm.T(0x00080018), instance), dcm.Sequence(dcm.T(0x0040A730)))
		out = append(out, Outgoing{instance, func(w io.Writer) error { return dcm.Write(w, d) }})
	}
	return out
}

// TestPostIsARequestOfTheStandard: one POST to studies with a part of application/dicom
// for each object (PS3.18 section 10.5.1), a token only in its header.
func TestPostIsARequestOfTheStandard(t *testing.T) {
	var got [][]byte
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		kind, with, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
		if err != nil || kind != "multipart/related" || with["type"] != "application/dicom" || r.Method != http.MethodPost || r.URL.Path != "/dicom/studies" || r.Header.Get("Authorization") != "Bearer secret" {
			t.Errorf("%s %s %q %v %v", r.Method, r.URL, kind, with, err)
		}
		all := multipart.NewReader(r.Body, with["boundary"])
		for {
			part, err := all.NextPart()
			if err == io.EOF {
				break
			}
			content, err := io.ReadAll(part)
			if err != nil || part.Header.Get("Content-Type") != "application/dicom" {
				t.Error(err, part.Header)
			}
			got = append(got, content)
		}
		w.WriteHeader(http.StatusAccepted)
		io.WriteString(w, `{"00081198":{"vr":"SQ","Value":[{"00081155":{"vr":"UI","Value":["2.25.2"]},"00081197":{"vr":"US","Value":[290]}}]},"00081199":{"vr":"SQ","Value":[{"00081155":{"vr":"UI","Value":["2.25.1"]}}]}}`)
	}))
	defer server.Close()
	for _, address := range []string{server.URL + "/dicom", server.URL + "/dicom/studies", server.URL + "/dicom/"} {
		got = nil
		is, err := (&Service{URL: address, Token: "secret", Client: server.Client()}).Post(t.Context(), posted())
		if err != nil || len(is) != 2 || is[0] != spool.Success || is[1] != spool.ClassNotSupported {
			t.Errorf("%s: %v, %v", address, is, err)
		}
		if len(got) != 2 {
			t.Fatalf("%d parts", len(got))
		}
		if f, err := dcm.ReadBytes(got[1]); err != nil || f.Identity().SOPInstanceUID != "2.25.2" {
			t.Error(err)
		}
	}
	for _, address := range []string{"ftp://a/b", "http://", "http://user:secret@a/b", "http://a/b?c=d", "a b", "http://archive.example/dicom", "http://192.0.2.1/dicom"} {
		if _, err := (&Service{URL: address}).Post(t.Context(), posted()); err == nil {
			t.Errorf("%s was taken for an address", address)
		}
	}
}

// TestAPageIsNoAnswer: a page that a proxy shows in the place of the service, with the
// status of success, stores nothing.
func TestAPageIsNoAnswer(t *testing.T) {
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/html; charset=utf-8")
		io.WriteString(w, "<html>Sign in</html>")
	}))
	defer server.Close()
	if is, err := (&Service{URL: server.URL, Client: server.Client()}).Post(t.Context(), posted()); err == nil {
		t.Errorf("taken for %v", is)
	}
}

// TestAnswersOfServices: only what is confirmed counts as stored.
func TestAnswersOfServices(t *testing.T) {
	const unknown = spool.Unconfirmed
	const both = `{"00081199":{"Value":[{"00081155":{"Value":["2.25.1"]}},{"00081155":{"Value":["2.25.2"]},"00081196":{"Value":[45056]}}]}}`
	for _, tt := range []struct {
		status int
		said   string
		want   []spool.Status
	}{
		{200, both, []spool.Status{0, 0xB000}}, {200, "", []spool.Status{0, 0}}, {200, "<xml/>", []spool.Status{0, 0}}, {202, "", []spool.Status{unknown, unknown}},
		{202, both, []spool.Status{0, 0xB000}}, {409, "", []spool.Status{unknown, unknown}}, {409, `{"00081198":{"Value":[{"00081155":{"Value":["2.25.1"]},"00081197":{"Value":[0]}}]}}`, []spool.Status{0x0110, unknown}},
		{200, `{"00081199":{"Value":[{"00081155":{"Value":["2.25.1"]}}]}}`, []spool.Status{0, unknown}}, {200, `{"00081199":{"Value":[{}]}}`, []spool.Status{unknown, unknown}},
		{500, both, nil}, {401, "", nil}, {302, "", nil}, {204, "", nil},
	} {
		got, err := answered(tt.status, []byte(tt.said), posted())
		if (err != nil) != (tt.want == nil) {
			t.Errorf("%d %s: %v", tt.status, tt.said, err)
		}
		for i := range tt.want {
			if got[i] != tt.want[i] {
				t.Errorf("%d %s: object %d %v, want %v", tt.status, tt.said, i, got[i], tt.want[i])
			}
		}
	}
}

// checkAnswer reads whatever a service may answer: nothing panics, and an object that
// neither the status nor the bytes name is not stored.
func checkAnswer(t *testing.T, said []byte) string {
	got, err := answered(http.StatusAccepted, said, posted())
	if err != nil {
		return err.Error()
	}
	out := ""
	for i, o := range posted() {
		if got[i].Stored() && !strings.Contains(string(said), "Value") {
			t.Fatalf("%s is taken for stored", o.Instance)
		}
		out += got[i].String() + " "
	}
	return out
}

// answerSeeds are answers as services give them.
func answerSeeds() [][]byte {
	return [][]byte{
		[]byte(`{"00081198":{"vr":"SQ","Value":[{"00081155":{"vr":"UI","Value":["2.25.2"]},"00081197":{"vr":"US","Value":[272]}}]},"00081199":{"vr":"SQ","Value":[{"00081155":{"vr":"UI","Value":["2.25.1"]}}]}}`),
		[]byte(`{"00081199":{"Value":[{"00081155":{"Value":["2.25.1"]},"00081196":{"Value":[45056]}},{"00081155":{"Value":["2.25.2"]}}]}}`), []byte(`[]`), []byte(`<xml/>`),
	}
}

// FuzzAnswer puts whatever a service may answer to what reads it.
func FuzzAnswer(f *testing.F) {
	for _, seed := range answerSeeds() {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkAnswer(t, b) })
}

func TestMutationsOfAnswers(t *testing.T) {
	mutate.Run(t, mutate.Source{Seeds: answerSeeds(), Tokens: []string{`"00081198"`, `"00081199"`, `"Value":[`, `{"00081155":`, `null`, `45056`, `65536`, `-1`, `"2.25.1"`}, Target: "FuzzAnswer"}, checkAnswer)
}
