package fhir_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/counted"
	"echotally/internal/dcmtest"
	"echotally/internal/desk"
	"echotally/internal/fhir"
	"echotally/internal/fhir/imagingstudy"
	"echotally/internal/fhir/resource"
	"echotally/internal/fhir/service"
	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/library"
	"echotally/internal/run"
	"echotally/internal/srtest"
	"echotally/internal/tally"
	"echotally/rules"
)

var full = flag.Bool("full", false, "have the reference implementation of R4 read what is written")

func moment() time.Time { return time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC) }

// report is a period of four studies with a demand that is met, missing, waived and not
// asked, and a relation that holds, fails and cannot be told. Its studies, people and
// station have marker names.
func report(t *testing.T, at time.Time) *audit.Report {
	t.Helper()
	demand := &tally.Rule{Identifier: "right-ventricle/tapse-present", Title: "TAPSE is there", Kind: finding.Completeness, Severity: finding.Warning}
	relation := &tally.Rule{Identifier: "tricuspid-valve/gradient", Title: "Gradient and velocity agree", Kind: finding.Consistency, Severity: finding.Error}
	study := func(n int, demanded, related finding.Outcome, waivers ...tally.Waiver) counted.Study {
		return counted.Study{
			UID: fmt.Sprintf("2.25.77%d", n), Date: time.Date(2026, 10, n, 0, 0, 0, 0, time.UTC), Lab: "Harbourlight", Protocol: "comprehensive", Kind: "comprehensive",
			Sonographer: "MARKERSONOGRAPHER", Reader: "MARKERREADER", Device: counted.Device{Station: "MARKERSTATION"}, Waivers: waivers,
			Results: tally.OutcomesOf(tally.Result{Rule: demand, Outcome: demanded, Severity: finding.Warning}, tally.Result{Rule: relation, Outcome: related, Severity: finding.Error}),
		}
	}
	opt := audit.Defaults()
	period, err := calendar.Month("2026-10")
	if err != nil {
		t.Fatal(err)
	}
	opt.Period, opt.Created, opt.Cutoff, opt.RuleSet, opt.Software = period, at, at, "0123456789ab", "echotally test"
	opt.Mark = func(s string) string { return s }
	return audit.Build([]counted.Study{
		study(1, finding.Pass, finding.Pass), study(2, finding.Fail, finding.Fail), study(3, finding.Fail, finding.Open, tally.Waiver{Rule: demand.Identifier, Reason: "no-signal", Effect: tally.Exception}),
		study(4, finding.NotApplicable, finding.NotApplicable), study(5, finding.Open, finding.Pass),
	}, opt)
}

// judged is a study with a contradiction, something missing and values without number,
// unit or known code.
func judged(t *testing.T, waivers ...imagingstudy.Waiver) imagingstudy.Judged {
	t.Helper()
	name := filepath.Join(t.TempDir(), "report.dcm")
	if err := os.WriteFile(name, dcmtest.Encode(srtest.Report(t, study), dcmtest.Encoding{}), 0o600); err != nil {
		t.Fatal(err)
	}
	lib, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	k := &kept{}
	d := &desk.Desk{Library: lib, SoftwareVersion: "test", Now: moment, Log: zerolog.Nop()}
	if _, err := desk.Check[*run.Study](context.Background(), d, []string{name}, k); err != nil || k.study == nil {
		t.Fatal(err)
	}
	return imagingstudy.Judged{Study: k.study.Study, Judgement: k.study.Judgement, Measurands: lib.Measurands, Waivers: waivers, Created: moment()}
}

type kept struct{ study *run.Study }

func (*kept) Begin(*run.Run) error                  { return nil }
func (*kept) Leaf(s *run.Study) (*run.Study, error) { return s, nil }
func (k *kept) Add(s *run.Study) error              { k.study = s; return nil }
func (*kept) End() error                            { return nil }

const study = `
header 00080018 = 2.25.11
header 0020000D = 2.25.10
header 00080020 = 20261014
header 00080070 = Petrelline Imaging
header 00100010 = MARKERSON^M
header 00100020 = MARKERID
header 00100030 = 19770707
header 00100040 = F
container DCM:125200 "Adult Echocardiography Procedure Report"
  contains container DCM:121070 "Findings"
    mod code SCT:363698007 = SCT:46030003 "Tricuspid valve"
    contains num LN:11726-7 "Peak velocity" = 2.80 m/s
      mod code SCT:260674002 "Flow Direction" = SCT:312004007 "Regurgitant flow"
    contains num LN:20247-3 "Peak gradient" = 60 mm[Hg]
      mod code SCT:260674002 "Flow Direction" = SCT:312004007 "Regurgitant flow"
    contains num 99OLD:X1 "Something" = 1.5 furlong
`

// encoded gives a bundle as it is written, and its resources.
func encoded(t *testing.T, b *resource.Bundle) ([]byte, []map[string]any) {
	t.Helper()
	text, err := json.Marshal(b)
	if err != nil {
		t.Fatal(err)
	}
	var back struct {
		Entry []struct {
			FullURL  string
			Resource map[string]any
		}
	}
	if err := json.Unmarshal(text, &back); err != nil {
		t.Fatal(err)
	}
	var out []map[string]any
	for _, e := range back.Entry {
		if e.FullURL != fmt.Sprint("urn:uuid:", e.Resource["id"]) {
			t.Errorf("%s is entered as %s", e.Resource["id"], e.FullURL)
		}
		out = append(out, e.Resource)
	}
	return text, out
}

// TestPopulationsAreThoseOfTheStandard: of the demand and the relation, each study is in
// the population it belongs to, and the score is the standard's: numerator over
// denominator less exclusions and exceptions (R4, MeasureReport; the shares are counted
// by hand).
func TestPopulationsAreThoseOfTheStandard(t *testing.T) {
	_, all := encoded(t, fhir.Summary(report(t, moment())))
	want := map[string]string{
		"urn:echotally:measure:rule:right-ventricle/tapse-present|0123456789ab": "5 5 2 1 1 50.00",
		"urn:echotally:measure:rule:tricuspid-valve/gradient|0123456789ab":      "5 5 2 0 2 66.67",
		"urn:echotally:measure:no-contradiction|0123456789ab":                   "5 5 0 0 4 80.00",
	}
	for _, r := range all {
		key := fmt.Sprint(r["measure"])
		if r["resourceType"] != "MeasureReport" || want[key] == "" {
			continue
		}
		group := r["group"].([]any)[0].(map[string]any)
		var got []string
		for i, p := range group["population"].([]any) {
			code := p.(map[string]any)["code"].(map[string]any)["coding"].([]any)[0].(map[string]any)["code"]
			if wanted := []string{"initial-population", "denominator", "denominator-exclusion", "denominator-exception", "numerator"}[i]; code != wanted {
				t.Errorf("population %d is %v", i, code)
			}
			got = append(got, fmt.Sprint(p.(map[string]any)["count"]))
		}
		text := strings.Join(got, " ") + " " + fmt.Sprintf("%.2f", group["measureScore"].(map[string]any)["value"])
		if text != want[key] {
			t.Errorf("%s: %s, want %s", key, text, want[key])
		}
		delete(want, key)
	}
	for key := range want {
		t.Errorf("no report of %s", key)
	}
}

// TestSummariesNameNobody: no study, person, station, or anything that is not of the lab
// as a whole.
func TestSummariesNameNobody(t *testing.T) {
	text, all := encoded(t, fhir.Summary(report(t, moment())))
	for _, marker := range []string{"MARKER", "2.25.77", "subject\":", "Patient/", "ImagingStudy/"} {
		if bytes.Contains(text, []byte(marker)) {
			t.Errorf("the summary holds %q", marker)
		}
	}
	for _, r := range all {
		if kind := r["resourceType"]; kind != "Measure" && kind != "MeasureReport" {
			t.Errorf("a %v in a summary", kind)
		}
	}
}

// TestIdentifiersAreTheSameNextTime of all resources, whenever they are made.
func TestIdentifiersAreTheSameNextTime(t *testing.T) {
	waiver := imagingstudy.Waiver{Rule: "right-ventricle/tapse-present", Reason: "no-signal", Meaning: "none", At: "2026-10-15T10:00:00Z", Excepts: true}
	one := judged(t, waiver)
	later := one
	later.Created = one.Created.AddDate(0, 1, 0)
	for _, pair := range [][2]*resource.Bundle{{imagingstudy.Bundle(one), imagingstudy.Bundle(later)}, {fhir.Summary(report(t, moment())), fhir.Summary(report(t, moment().AddDate(0, 1, 0)))}} {
		_, a := encoded(t, pair[0])
		_, b := encoded(t, pair[1])
		if pair[0].ID != pair[1].ID || len(a) != len(b) || len(a) == 0 {
			t.Fatalf("%d and %d resources", len(a), len(b))
		}
		seen := map[any]bool{}
		for i := range a {
			if a[i]["id"] != b[i]["id"] || seen[a[i]["id"]] {
				t.Errorf("%v %v: another identifier, or one that is taken", a[i]["resourceType"], a[i]["id"])
			}
			seen[a[i]["id"]] = true
		}
	}
}

// TestAStudyHandedBack: every measurement, finding and demand is there, what they refer
// to is in the bundle, what is not known is said to be absent, and the patient is not
// named.
func TestAStudyHandedBack(t *testing.T) {
	j := judged(t)
	text, all := encoded(t, imagingstudy.Bundle(j))
	if bytes.Contains(text, []byte("MARKER")) || bytes.Contains(text, []byte("1977")) {
		t.Error("the patient is named")
	}
	count := map[string]int{}
	ids := map[string]bool{}
	for _, r := range all {
		count[fmt.Sprint(r["resourceType"])]++
		ids[fmt.Sprint("urn:uuid:", r["id"])] = true
		if !strings.Contains(fmt.Sprint(r["meta"]), layout.Caution) {
			t.Errorf("%v %v does not carry the caution", r["resourceType"], r["id"])
		}
	}
	for _, m := range regexp.MustCompile(`"reference":"([^"]*)"`).FindAllStringSubmatch(string(text), -1) {
		if !ids[m[1]] {
			t.Errorf("%s is not in the bundle", m[1])
		}
	}
	failed, asked := 0, 0
	for _, r := range j.Judgement.Results {
		if (r.Outcome == finding.Fail || r.Outcome == finding.Review) && !r.PerLab {
			failed++
		}
		if r.Kind == finding.Completeness && !r.PerLab {
			asked++
		}
	}
	if count["Observation"] != 3 || count["DetectedIssue"] != failed || failed == 0 || count["MeasureReport"] != asked || count["Patient"] != 1 || count["ImagingStudy"] != 1 {
		t.Errorf("%v; %d findings, %d demands", count, failed, asked)
	}
	for _, want := range []string{`"system":"http://loinc.org","code":"11726-7"`, `"value":2.80,"unit":"m/s","system":"http://unitsofmeasure.org","code":"m/s"`, `"severity":"high"`, `"urn:oid:2.25.10"`, `"gender":"female"`} {
		if !bytes.Contains(text, []byte(want)) {
			t.Errorf("no %s", want)
		}
	}
	for _, never := range []string{"99OLD", `"status":"final"`, "birthDate"} {
		if bytes.Contains(text, []byte(never)) {
			t.Errorf("it holds %s", never)
		}
	}
}

// TestWaiversAreSaid: what was waived is absent with the reason, the issue is mitigated,
// and the study leaves the denominator only where the waiver says so.
func TestWaiversAreSaid(t *testing.T) {
	plain := judged(t)
	rule, tapse := "right-ventricle/tapse-present", plain.Measurands.Search("TAPSE")
	if len(tapse) == 0 {
		t.Fatal("TAPSE is no measurand")
	}
	plain.Judgement.Results = append(plain.Judgement.Results, finding.Result{
		About: &finding.About{Identifier: rule, Title: "TAPSE is there", Kind: finding.Completeness, Measurands: []string{tapse[0].Identifier}}, Rule: rule, Outcome: finding.Fail, Severity: finding.Warning,
	})
	for excepts, exception := range map[bool]string{true: "1", false: "0"} {
		j := plain
		j.Waivers = []imagingstudy.Waiver{{Rule: rule, Reason: "declined", Meaning: "the patient declined", At: "2026-10-15T10:00:00Z", Excepts: excepts}}
		_, all := encoded(t, imagingstudy.Bundle(j))
		absent, mitigated, excepted := 0, 0, ""
		for _, r := range all {
			text := fmt.Sprint(r)
			switch {
			case r["resourceType"] == "Observation" && r["dataAbsentReason"] != nil && strings.Contains(text, "asked-declined"):
				absent++
			case r["resourceType"] == "DetectedIssue" && r["mitigation"] != nil:
				mitigated++
			case r["resourceType"] == "MeasureReport" && strings.Contains(fmt.Sprint(r["measure"]), rule+"|"):
				excepted = fmt.Sprint(r["group"].([]any)[0].(map[string]any)["population"].([]any)[3].(map[string]any)["count"])
			}
		}
		if absent == 0 || mitigated != 1 || excepted != exception {
			t.Errorf("%s waived (%v): %d absent, %d mitigated, exception %s", rule, excepts, absent, mitigated, excepted)
		}
	}
}

// TestR4 has github.com/google/fhir, the reference implementation of R4 in Go, read what
// is written: it refuses elements that R4 does not have, required ones that are missing,
// and codes that are not of a required value set. It is a module of its own, since it
// alone would be half of what this one is built from.
func TestR4(t *testing.T) {
	if !*full {
		t.Skip("-full builds the reference implementation (a minute and a half of processor time): R4 was not checked by it")
	}
	dir := t.TempDir()
	var names []string
	waived := judged(t, imagingstudy.Waiver{Rule: "document/kind-of-study-declared", Reason: "declined", Meaning: "the patient declined", At: "2026-10-15T10:00:00Z"})
	for name, b := range map[string]*resource.Bundle{"study": imagingstudy.Bundle(waived), "summary": fhir.Summary(report(t, moment()))} {
		text, _ := encoded(t, b)
		file := filepath.Join(dir, name+".json")
		if err := os.WriteFile(file, text, 0o600); err != nil {
			t.Fatal(err)
		}
		names = append(names, file)
	}
	answers := answering(t)
	for name, path := range map[string]string{"capability": "/metadata", "found": "/MeasureReport?period=2026-10", "nothing": "/Measure?period=2025", "refused": "/Patient"} {
		_, text := answers("GET", path)
		file := filepath.Join(dir, name+".json")
		if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		names = append(names, file)
	}
	bad := filepath.Join(dir, "bad.json")
	if err := os.WriteFile(bad, []byte(`{"resourceType":"Observation","status":"thought","code":{"text":"x"}}`), 0o600); err != nil {
		t.Fatal(err)
	}
	program := filepath.Join(dir, "r4")
	build := exec.Command("go", "build", "-o", program, ".")
	build.Dir = "testdata/r4"
	build.Env = append(os.Environ(), "GOFLAGS=-mod=readonly", "GOWORK=off")
	if out, err := build.CombinedOutput(); err != nil {
		if bytes.Contains(out, []byte("go.sum")) || bytes.Contains(out, []byte("updates to go.mod")) { // not for want of a network
			t.Fatalf("the module of the reference implementation is not whole: %s", out)
		}
		t.Skipf("the reference implementation cannot be built here (%v): R4 was not checked by it\n%.300s", err, out)
	}
	if out, err := exec.Command(program, names...).CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
	if out, err := exec.Command(program, bad).CombinedOutput(); err == nil {
		t.Errorf("a status that is none was taken:\n%s", out)
	}
}

// TestHandler answers by GET alone, with what was asked for, and tells no more of an error
// than that it happened.
func TestHandler(t *testing.T) {
	var failed []error
	h := &service.Handler{Failed: func(err error) { failed = append(failed, err) }, Report: func(_ context.Context, p calendar.Period) (*audit.Report, error) {
		switch p.Name {
		case "2026-10":
			return report(t, moment()), nil
		case "2026-Q1":
			return nil, fmt.Errorf("MARKERSON")
		case "2026-Q2":
			return nil, service.ErrCounting
		}
		return nil, nil
	}}
	ask := func(method, path string) (int, map[string]any) {
		w := httptest.NewRecorder()
		http.StripPrefix("/fhir", h).ServeHTTP(w, httptest.NewRequest(method, "/fhir"+path, nil))
		var out map[string]any
		if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil || w.Header().Get("Content-Type") != "application/fhir+json" || strings.Contains(w.Body.String(), "MARKER") {
			t.Errorf("%s %s: %v %s", method, path, err, w.Body)
		}
		return w.Code, out
	}
	status, found := ask("GET", "/MeasureReport?period=2026-10")
	entries, _ := found["entry"].([]any)
	if status != 200 || found["type"] != "searchset" || len(entries) < 5 || fmt.Sprint(found["total"]) != fmt.Sprint(len(entries)) {
		t.Fatalf("%d: %v", status, found)
	}
	first := entries[0].(map[string]any)["resource"].(map[string]any)
	if status, one := ask("GET", fmt.Sprintf("/MeasureReport/%v?period=2026-10", first["id"])); status != 200 || one["id"] != first["id"] || one["resourceType"] != "MeasureReport" {
		t.Errorf("%d: %v", status, one)
	}
	for path, want := range map[string]int{
		"/metadata": 200, "/Measure?period=2026-10": 200, "/MeasureReport": 400, "/MeasureReport?period=yesterday": 400, "/MeasureReport?period=2025": 200, "/MeasureReport/none?period=2025": 404, "/MeasureReport/none?period=2026-10": 404,
		"/Patient": 404, "/": 404, "/MeasureReport?period=2026-Q1": 500, "/MeasureReport?period=2026-Q2": 503,
	} {
		if status, out := ask("GET", path); status != want {
			t.Errorf("%s: %d, want %d: %v", path, status, want, out)
		}
	}
	for _, method := range []string{"POST", "PUT", "DELETE", "PATCH"} {
		if status, _ := ask(method, "/MeasureReport?period=2026-10"); status != 405 {
			t.Errorf("%s: %d", method, status)
		}
	}
	if len(failed) != 1 {
		t.Errorf("%d errors told", len(failed))
	}
}

// answering is a server that has one period, and what it says to a request.
func answering(t *testing.T) func(method, path string, accept ...string) (int, string) {
	t.Helper()
	october := report(t, moment())
	h := &service.Handler{Report: func(_ context.Context, p calendar.Period) (*audit.Report, error) {
		if p.Name == "2026-10" {
			return october, nil
		}
		return nil, nil
	}}
	server := httptest.NewServer(http.StripPrefix("/fhir", h))
	t.Cleanup(server.Close)
	return func(method, path string, accept ...string) (int, string) {
		t.Helper()
		return answer(t, server, method, path, accept)
	}
}

func answer(t *testing.T, server *httptest.Server, method, path string, accept []string) (int, string) {
	t.Helper()
	r, err := http.NewRequest(method, server.URL+"/fhir"+path, nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header["Accept"] = accept
	is, err := server.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer is.Body.Close()
	body, err := io.ReadAll(is.Body)
	if err != nil || is.Header.Get("Content-Type") != "application/fhir+json" {
		t.Errorf("%s: %v, %v", path, is.Header, err)
	}
	return is.StatusCode, string(body)
}

// TestHostileQueries: what cannot be answered is an OperationOutcome with the status of R4
// (section 3.1.0), whatever is asked for; a search that finds nothing is none of these.
func TestHostileQueries(t *testing.T) {
	answers := answering(t)
	const json, xml, browser = "application/fhir+json", "application/fhir+xml", "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"
	for _, tt := range []struct {
		path   string
		accept []string
		want   int
	}{
		{"/MeasureReport?period=2026-10", nil, 200}, {"/MeasureReport?period=eq2026-10", nil, 200}, {"/MeasureReport?period=2026-10&_count=5&other=1", nil, 200}, {"/Measure?period=2026-10", nil, 200},
		{"/MeasureReport?period=", nil, 400}, {"/MeasureReport?period=2026-13", nil, 400}, {"/MeasureReport?period=2026-00", nil, 400}, {"/MeasureReport?period=2026-10-32", nil, 400}, {"/MeasureReport?period=0000", nil, 400},
		{"/MeasureReport?period=ge2026-10", nil, 400}, {"/MeasureReport?period=2026-09,2026-10", nil, 400}, {"/MeasureReport?period=2026-10&period=2026-10", nil, 400}, {"/MeasureReport?period=%zz", nil, 400},
		{"/MeasureReport?period=" + strings.Repeat("9", 5000), nil, 400}, {"/MeasureReport?period=2026-10%00", nil, 400}, {"/MeasureReport?period=%3Cscript%3E", nil, 400}, {"/MeasureReport?a;b", nil, 400},
		{"/Patient", nil, 404}, {"/Patient/1?period=2026-10", nil, 404}, {"/metadata/x", nil, 404}, {"/measurereport?period=2026-10", nil, 404}, {"/MeasureReport/..%2F..%2Fetc?period=2026-10", nil, 404}, {"/MeasureReport/x/_history?period=2026-10", nil, 404},
		{"/metadata", []string{xml}, 406}, {"/metadata", []string{"text/html"}, 406}, {"/metadata", []string{json + ";q=0"}, 406}, {"/metadata", []string{";;"}, 406},
		{"/metadata", []string{json}, 200}, {"/metadata", []string{browser}, 200}, {"/metadata", []string{xml, "application/json"}, 200}, {"/metadata", []string{"application/fhir+json; fhirVersion=4.0"}, 200},
		{"/metadata?_format=json", []string{xml}, 200}, {"/metadata?_format=application/fhir%2Bjson", nil, 200}, {"/metadata?_format=application/fhir+json", nil, 200}, {"/metadata?_format=xml", []string{json}, 406}, {"/metadata?_format=ttl", nil, 406},
	} {
		status, body := answers("GET", tt.path, tt.accept...)
		if status != tt.want || (status != 200) != strings.Contains(body, `{"resourceType":"OperationOutcome","issue":[{"severity":"error"`) {
			t.Errorf("%.80s %s: status %d, want %d: %.300s", tt.path, tt.accept, status, tt.want, body)
		}
		if head, none := answers("HEAD", tt.path, tt.accept...); head != status || none != "" {
			t.Errorf("%.80s: HEAD gives %d %q", tt.path, head, none)
		}
	}
	if status, body := answers("GET", "/MeasureReport?period=2025"); status != 200 || !strings.Contains(body, `"total":0`) || !strings.Contains(body, `"mode":"outcome"`) || !strings.Contains(body, `{"relation":"self","url":"MeasureReport?period=2025"}`) {
		t.Errorf("nothing found: %d %s", status, body)
	}
	for _, method := range []string{"POST", "PUT", "PATCH", "DELETE", "OPTIONS"} {
		if status, body := answers(method, "/MeasureReport?period=2026-10"); status != 405 || !strings.Contains(body, "OperationOutcome") {
			t.Errorf("%s: %d %s", method, status, body)
		}
	}
}

// TestTheCapabilityStatementIsTrue: each type it names is found by the parameter it names,
// and no interaction is named that is not there; it is of kind instance with an
// implementation (constraint cpb-14 of R4).
func TestTheCapabilityStatementIsTrue(t *testing.T) {
	answers := answering(t)
	_, body := answers("GET", "/metadata")
	var says struct {
		Kind           string
		FHIRVersion    string
		Implementation struct{ Description string }
		Format         []string
		Rest           []struct {
			Mode     string
			Resource []struct {
				Type        string
				Interaction []struct{ Code string }
				SearchParam []struct{ Name, Type string }
			}
		}
	}
	if err := json.Unmarshal([]byte(body), &says); err != nil || says.Kind != "instance" || says.Implementation.Description == "" || says.FHIRVersion != "4.0.1" || len(says.Rest) != 1 || says.Rest[0].Mode != "server" || len(says.Rest[0].Resource) != 2 {
		t.Fatalf("%v: %s", err, body)
	}
	for _, format := range says.Format {
		if status, _ := answers("GET", "/metadata?_format="+url.QueryEscape(format)); status != 200 {
			t.Errorf("format %s: status %d", format, status)
		}
	}
	for _, r := range says.Rest[0].Resource {
		if len(r.Interaction) != 1 || r.Interaction[0].Code != "search-type" || len(r.SearchParam) != 1 {
			t.Fatalf("%+v", r)
		}
		status, body := answers("GET", "/"+r.Type+"?"+r.SearchParam[0].Name+"=2026-10")
		if status != 200 || !strings.Contains(body, `"resourceType":"`+r.Type+`"`) || !strings.Contains(body, `"total":`) {
			t.Errorf("%s: %d %.200s", r.Type, status, body)
		}
	}
}
