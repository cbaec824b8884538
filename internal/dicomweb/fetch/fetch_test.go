package fetch_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/dicomweb/archive"
	"echotally/internal/dicomweb/fetch"
	"echotally/internal/dicomweb/request"
	"echotally/internal/spool"
	"echotally/internal/srtest"
)

// held is an object of the stub archive.
type held struct {
	study, series, instance, modality, date string
	content                                 []byte
}

// stub is an archive that answers as the examples and tables of PS3.18 do: searches by
// sections 8.3.4.4 and 10.6 (DICOM JSON model of annex F, 204 when nothing is left),
// retrieving by section 10.4 (multipart/related of application/dicom).
type stub struct {
	objects []held
	page    int                                           // most results at a time
	before  func(w http.ResponseWriter, path string) bool // answers in its place
	asked   []string
}

func (s *stub) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.asked = append(s.asked, r.URL.Path)
	path := strings.TrimPrefix(r.URL.Path, "/dicomweb")
	if s.before != nil && s.before(w, path) {
		return
	}
	parts := strings.Split(strings.Trim(path, "/"), "/")
	switch len(parts) {
	case 1, 3, 5:
		s.search(w, r.URL.Query(), parts)
	default:
		for _, o := range s.objects {
			if o.instance == parts[5] {
				w.Header().Set("Content-Type", `multipart/related; type="application/dicom"; boundary=++X`)
				fmt.Fprintf(w, "--++X\r\nContent-Type: application/dicom; transfer-syntax=1.2.840.10008.1.2.1\r\nContent-Length: %d\r\n\r\n%s\r\n--++X--\r\n", len(o.content), o.content)
				return
			}
		}
		w.WriteHeader(http.StatusNotFound)
	}
}

func (s *stub) search(w http.ResponseWriter, query url.Values, parts []string) {
	type attribute struct {
		VR    string   `json:"vr"`
		Value []string `json:"Value"`
	}
	var out []map[string]attribute
	seen := map[string]bool{}
	for _, o := range s.objects {
		key := map[int]string{1: o.study, 3: o.series, 5: o.instance}[len(parts)]
		if seen[key] || len(parts) > 1 && o.study != parts[1] || len(parts) > 3 && o.series != parts[3] || len(parts) == 1 && o.date != query.Get("StudyDate") {
			continue
		}
		seen[key] = true
		out = append(out, map[string]attribute{
			"00080020": {"DA", []string{o.date}}, "00080060": {"CS", []string{o.modality}}, "0020000D": {"UI", []string{o.study}}, "0020000E": {"UI", []string{o.series}}, "00080018": {"UI", []string{o.instance}},
		})
	}
	offset, _ := strconv.Atoi(query.Get("offset"))
	limit, _ := strconv.Atoi(query.Get("limit"))
	out = out[min(offset, len(out)):]
	if rest := len(out) - min(limit, s.page); rest > 0 {
		w.Header().Set("Warning", fmt.Sprintf(`299 stub "There are %d additional results that can be requested"`, rest))
		out = out[:min(limit, s.page)]
	}
	if len(out) == 0 {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	w.Header().Set("Content-Type", "application/dicom+json")
	_ = json.NewEncoder(w).Encode(out)
}

const srClass = "1.2.840.10008.5.1.4.1.1.88.33"

const imageClass = "1.2.840.10008.5.1.4.1.1.6.1"

// image is an ultrasound image with 300 kB of pixels.
func image(t *testing.T, instance, study string) []byte {
	t.Helper()
	var b bytes.Buffer
	err := dcm.Write(&b, dcm.New(
		dcm.Strings(dcm.T(0x00080016), imageClass), dcm.Strings(dcm.T(0x00080018), instance), dcm.Strings(dcm.T(0x00080060), "US"), dcm.Strings(dcm.T(0x0020000D), study),
		dcm.Ints(dcm.T(0x00280010), 500), dcm.Ints(dcm.T(0x00280011), 600), dcm.Private(dcm.T(0x7FE00010), "OB", bytes.Repeat([]byte{7}, 300_000))))
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// anArchive is a stub with three studies of two days: seven reports and two images.
func anArchive(t *testing.T) *stub {
	t.Helper()
	s := &stub{page: 2}
	add := func(date, study, modality string, instances ...string) {
		for _, uid := range instances {
			content := image(t, uid, study)
			if modality == "SR" {
				content = object(t, srClass, uid, study)
			}
			s.objects = append(s.objects, held{study, study + ".1" + map[string]string{"US": "1", "CT": "2"}[modality], uid, modality, date, content})
		}
	}
	add("20261001", "2.25.1", "SR", "2.25.101", "2.25.102", "2.25.103", "2.25.104", "2.25.105")
	add("20261001", "2.25.1", "US", "2.25.106", "2.25.107")
	add("20261001", "2.25.1", "CT", "2.25.108")
	add("20261001", "2.25.2", "SR", "2.25.201")
	add("20261002", "2.25.3", "SR", "2.25.301")
	add("20261105", "2.25.4", "SR", "2.25.401")
	return s
}

// fetching is a back-fill of October 2026 from a stub into a new spool.
func fetching(t *testing.T, s *stub) *fetch.Fetch {
	t.Helper()
	server := httptest.NewServer(s)
	t.Cleanup(server.Close)
	to, err := url.Parse(server.URL + "/dicomweb")
	if err != nil {
		t.Fatal(err)
	}
	done, err := fetch.OpenDone(filepath.Join(t.TempDir(), "fetched"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { done.Close() })
	into := &spool.Spool{Dir: t.TempDir(), Check: func(path string) (spool.Identity, spool.Status, error) {
		f, err := os.Open(path)
		if err != nil {
			return spool.Identity{}, spool.OutOfResources, err
		}
		defer f.Close()
		info, err := f.Stat()
		if err != nil {
			return spool.Identity{}, spool.OutOfResources, err
		}
		is, err := dcm.Identify(f, info.Size())
		if err != nil {
			return spool.Identity{}, spool.CannotUnderstand, err
		}
		return spool.Identity{Class: is.SOPClassUID, Instance: is.SOPInstanceUID, Study: is.StudyInstanceUID}, spool.Success, nil
	}}
	if err := into.Make("fetch"); err != nil {
		t.Fatal(err)
	}
	return &fetch.Fetch{
		Archive: &archive.Archive{Client: request.Client{URL: to, HTTP: server.Client(), Backoff: time.Microsecond, Tries: 4, Longest: time.Minute}, Page: 100, MostPage: 1 << 20, MostFound: 1000},
		Spool:   into, Modality: "US", Images: true, MostBytes: 1 << 20, Most: 1000, Done: done, Failed: func(err error) { t.Log(err) },
	}
}

var first, last = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 10, 31, 0, 0, 0, 0, time.UTC)

// waiting are the instances that wait in the spool, by their number.
func waiting(t *testing.T, f *fetch.Fetch) (out []string) {
	t.Helper()
	for _, name := range dcmtest.Files(t, f.Spool.Waiting()) {
		uid, _, _ := strings.Cut(filepath.Base(name), "-")
		out = append(out, strings.TrimPrefix(uid, "2.25."))
	}
	slices.Sort(out)
	return out
}

var october = []string{"101", "102", "103", "104", "105", "106", "107", "201", "301"}

// TestAMonthIsFetchedOnce: page after page, reports whole, of images all but the pixels,
// of other modalities and days nothing; and a second run fetches nothing anew.
func TestAMonthIsFetchedOnce(t *testing.T) {
	s := anArchive(t)
	f := fetching(t, s)
	studies := 0
	f.Study = func(context.Context) error { studies++; return nil }
	out, err := f.Run(context.Background(), first, last)
	if want := (fetch.Fetched{Studies: 3, Objects: 9}); err != nil || out != want || studies != 3 {
		t.Fatalf("%+v, %d studies told, %v", out, studies, err)
	}
	if got := waiting(t, f); !slices.Equal(got, october) {
		t.Errorf("wait: %v", got)
	}
	for _, name := range dcmtest.Files(t, f.Spool.Waiting()) {
		content, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		uid, _, _ := strings.Cut(filepath.Base(name), "-")
		of := s.objects[slices.IndexFunc(s.objects, func(o held) bool { return o.instance == uid })]
		if of.modality == "SR" && !bytes.Equal(content, of.content) {
			t.Errorf("%s is not what the archive has", uid)
		}
		if of.modality == "US" {
			h, err := dcm.ReadHeader(bytes.NewReader(content), int64(len(content)))
			if err != nil || len(content) > 2000 || !bytes.HasPrefix(of.content, content) || !slices.Equal(h.Dataset.Ints(dcm.T(0x00280011)), []int64{600}) {
				t.Errorf("%s: %d bytes, %v", uid, len(content), err)
			}
		}
	}
	out, err = f.Run(context.Background(), first, last)
	if want := (fetch.Fetched{Studies: 3, Known: 9}); err != nil || out != want {
		t.Errorf("again: %+v, %v", out, err)
	}
	for _, path := range s.asked {
		if strings.HasSuffix(path, "2.25.108") || strings.Contains(path, "2.25.4") {
			t.Errorf("asked for %s", path)
		}
	}
}

// TestReportsAlone: no image is asked for.
func TestReportsAlone(t *testing.T) {
	f := fetching(t, anArchive(t))
	f.Images = false
	if out, err := f.Run(context.Background(), first, last); err != nil || out.Objects != 7 || len(waiting(t, f)) != 7 {
		t.Errorf("%+v, %v", out, err)
	}
}

// TestARunGoesOn: what a run fetched before it was stopped, at a bound or by a crash
// that cut the file of what was fetched, is not fetched again, and the rest is.
func TestARunGoesOn(t *testing.T) {
	f := fetching(t, anArchive(t))
	f.Most = 4
	if out, err := f.Run(context.Background(), first, last); err != nil || !out.Stopped || out.Objects != 4 {
		t.Fatalf("%+v, %v", out, err)
	}
	state := filepath.Join(t.TempDir(), "fetched")
	if err := os.WriteFile(state, []byte("2.25.101 fetched\n2.25.102 fetched\n2.25.103 fetched\n2.25.104 fetched\n2.25.10"), 0o600); err != nil {
		t.Fatal(err)
	}
	var err error
	if f.Done, err = fetch.OpenDone(state); err != nil {
		t.Fatal(err)
	}
	defer f.Done.Close()
	f.Most = 100
	if out, err := f.Run(context.Background(), first, last); err != nil || out.Known != 4 || out.Objects != 5 {
		t.Errorf("%+v, %v", out, err)
	}
	if got := waiting(t, f); !slices.Equal(got, october) {
		t.Errorf("wait: %v", got)
	}
	again, err := fetch.OpenDone(state)
	if err != nil || !again.Has("2.25.105") || !again.Has("2.25.301") || again.Has("2.25.10") {
		t.Errorf("the cut line spoils what follows, %v", err)
	}
	again.Close()
}

// TestFaultsOfAnArchive: what passes is tried again, what does not costs no more than
// what it concerns, and nothing that is cut is taken for whole.
func TestFaultsOfAnArchive(t *testing.T) {
	times := func(n int, is func(path string) bool, answer func(http.ResponseWriter)) func(http.ResponseWriter, string) bool {
		return func(w http.ResponseWriter, path string) bool {
			if n == 0 || !is(path) {
				return false
			}
			n--
			answer(w)
			return true
		}
	}
	ends := func(end string) func(string) bool {
		return func(path string) bool { return strings.HasSuffix(path, end) }
	}
	status := func(n int) func(http.ResponseWriter) { return func(w http.ResponseWriter) { w.WriteHeader(n) } }
	part := func(body string) func(http.ResponseWriter) {
		return func(w http.ResponseWriter) {
			w.Header().Set("Content-Type", `multipart/related; type="application/dicom"; boundary=X`)
			_, _ = w.Write([]byte(body))
		}
	}
	whole := string(object(t, srClass, "2.25.102", "2.25.1"))
	cut := "--X\r\nContent-Type: application/dicom\r\n\r\n" + whole[:len(whole)-20]
	all := fetch.Fetched{Studies: 3, Objects: 9}
	one := fetch.Fetched{Studies: 3, Objects: 8, Failed: 1}
	for name, tt := range map[string]struct {
		before func(http.ResponseWriter, string) bool
		want   fetch.Fetched
		fatal  bool
		lacks  string
	}{
		"busy for a while":     {times(3, ends("/studies"), status(503)), all, false, ""},
		"an object cut twice":  {times(2, ends("/2.25.102"), part(cut)), all, false, ""},
		"an object always cut": {times(-1, ends("/2.25.102"), part(cut)), one, false, "102"},
		"an object is gone":    {times(-1, ends("/2.25.102"), status(404)), one, false, "102"},
		"an image always cut":  {times(-1, ends("/2.25.106"), part(cut[:200])), one, false, "106"},
		"no part":              {times(-1, ends("/2.25.102"), part("--X--")), one, false, "102"},
		"a page instead":       {times(-1, ends("/2.25.102"), func(w http.ResponseWriter) { _, _ = w.Write([]byte("<html>sorry")) }), one, false, "102"},
		"one part alone": {times(-1, ends("/2.25.102"), func(w http.ResponseWriter) {
			w.Header().Set("Content-Type", "application/dicom")
			_, _ = w.Write([]byte(whole))
		}), all, false, ""},
		"alone and cut": {times(-1, ends("/2.25.102"), func(w http.ResponseWriter) {
			w.Header().Set("Content-Type", "application/dicom")
			w.Header().Set("Content-Length", "9000")
			_, _ = w.Write([]byte(whole))
		}), one, false, "102"},
		"another object": {times(-1, ends("/2.25.101"), part("--X\r\nContent-Type: application/dicom\r\n\r\n"+whole+"\r\n--X--")), fetch.Fetched{Studies: 3, Objects: 8, Apart: 1}, false, "101"},
		"no DICOM":       {times(-1, ends("/2.25.102"), part("--X\r\nContent-Type: application/dicom\r\n\r\nnothing of it\r\n--X--")), fetch.Fetched{Studies: 3, Objects: 8, Apart: 1}, false, "102"},
		"a list cut for a while": {times(2, ends("/instances"), func(w http.ResponseWriter) {
			w.Header().Set("Content-Length", "500")
			_, _ = w.Write([]byte(`[{"00080018":`))
		}), all, false, ""},
		"series of a study fail":   {times(-1, ends("/studies/2.25.2/series"), status(400)), fetch.Fetched{Studies: 3, Objects: 8, Failed: 1}, false, "201"},
		"a study without its UID":  {times(1, ends("/studies"), func(w http.ResponseWriter) { _, _ = w.Write([]byte(`[{"00080020":{"vr":"DA"}}]`)) }), fetch.Fetched{Studies: 1, Objects: 1, Failed: 1}, false, "101 102 103 104 105 106 107 201"},
		"a UID that is a path":     {times(1, ends("/studies"), func(w http.ResponseWriter) { _, _ = w.Write([]byte(`[{"0020000D":{"vr":"UI","Value":["../x"]}}]`)) }), fetch.Fetched{Studies: 1, Objects: 1, Failed: 1}, false, "101 102 103 104 105 106 107 201"},
		"nobody is let in":         {times(-1, ends("/studies"), status(401)), fetch.Fetched{}, true, strings.Join(october, " ")},
		"an object is not allowed": {times(-1, ends("/2.25.101"), status(403)), fetch.Fetched{Studies: 1}, true, strings.Join(october, " ")},
		"a list too long":          {times(1, ends("/studies"), func(w http.ResponseWriter) { _, _ = w.Write(bytes.Repeat([]byte(" "), 2<<20)) }), fetch.Fetched{Studies: 1, Objects: 1, Failed: 1}, false, "101 102 103 104 105 106 107 201"},
	} {
		t.Run(name, func(t *testing.T) {
			s := anArchive(t)
			s.before = tt.before
			f := fetching(t, s)
			f.Failed = func(err error) {
				if strings.Contains(err.Error(), "2.25.") || strings.Contains(err.Error(), "http") {
					t.Errorf("an error names a study: %v", err)
				}
			}
			out, err := f.Run(context.Background(), first, last)
			if (err != nil) != tt.fatal || out != tt.want {
				t.Errorf("%+v, %v", out, err)
			}
			lacks := strings.Fields(tt.lacks)
			want := slices.DeleteFunc(slices.Clone(october), func(uid string) bool { return slices.Contains(lacks, uid) })
			if got := waiting(t, f); !slices.Equal(got, want) {
				t.Errorf("wait: %v\nwant  %v", got, want)
			}
			if left := dcmtest.Files(t, filepath.Join(f.Spool.Dir, ".arriving")); len(left) > 0 {
				t.Errorf("left half: %v", left)
			}
		})
	}
}

// TestAnArchiveThatKnowsNoOffset gives its first page for ever; that is no endless
// search, and more results than are allowed are none at all.
func TestAnArchiveThatKnowsNoOffset(t *testing.T) {
	s := anArchive(t)
	s.page = 1000
	server := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		query := r.URL.Query()
		query.Del("offset")
		r.URL.RawQuery = query.Encode()
		s.ServeHTTP(w, r)
	})
	f := fetching(t, s)
	f.Archive.HTTP = &http.Client{Transport: through{server}}
	if out, err := f.Run(context.Background(), first, last); err != nil || out.Objects != 9 {
		t.Errorf("%+v, %v", out, err)
	}
	f = fetching(t, s)
	f.Archive.MostFound = 3
	if out, err := f.Run(context.Background(), first, last); err != nil || out.Failed != 1 || len(waiting(t, f)) != 5 {
		t.Errorf("%+v, %v: %v", out, err, waiting(t, f))
	}
}

// through answers requests without a network.
type through struct{ http.Handler }

func (h through) RoundTrip(r *http.Request) (*http.Response, error) {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Result(), nil
}

// TestASignalEndsFetching: also while the archive does not answer.
func TestASignalEndsFetching(t *testing.T) {
	s := anArchive(t)
	ctx, stop := context.WithCancel(context.Background())
	s.before = func(w http.ResponseWriter, path string) bool {
		if strings.HasSuffix(path, "2.25.103") {
			stop()
			<-ctx.Done()
			w.WriteHeader(http.StatusServiceUnavailable)
			return true
		}
		return false
	}
	f := fetching(t, s)
	if out, err := f.Run(ctx, first, last); !errors.Is(err, context.Canceled) || out.Objects != 2 {
		t.Errorf("%+v, %v", out, err)
	}
}

// object is a report of study 2.25.7 or another.
func object(t testing.TB, class, instance, study string) []byte {
	t.Helper()
	return dcmtest.Encode(srtest.Report(t, fmt.Sprintf("header 00080016 = %s\nheader 00080018 = %s\nheader 0020000D = %s\ncontainer DCM:125200 \"Adult Echocardiography Procedure Report\"\n", class, instance, study)), dcmtest.Encoding{})
}
