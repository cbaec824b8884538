package run

import (
	"strings"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/run/prior"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

func TestPriorIsTheLatestEarlierStudyOfThePerson(t *testing.T) {
	study := func(uid, date, id, issuer, birth string) *echo.Study {
		return &echo.Study{StudyInstanceUID: uid, StudyDate: date, Identity: echo.Identity{
			PatientID: echo.Protected(id), IssuerOfPatientID: echo.Protected(issuer), BirthDate: echo.Protected(birth)}}
	}
	of := study("5", "20260301", "7", "", "19600101")
	for _, tt := range []struct {
		name   string
		others []*echo.Study
		want   string // date and agreement, "" for none
	}{
		{"none", nil, ""},
		{"the latest of two", []*echo.Study{study("1", "20240101", "7", "", "19600101"), study("2", "20250101", "7", "", "19600101")}, "20250101 agrees"},
		{"in any order", []*echo.Study{study("2", "20250101", "7", "", "19600101"), study("1", "20240101", "7", "", "19600101")}, "20250101 agrees"},
		{"itself", []*echo.Study{of}, ""},
		{"of the same day", []*echo.Study{study("1", "20260301", "7", "", "19600101")}, ""},
		{"later", []*echo.Study{study("1", "20260302", "7", "", "19600101")}, ""},
		{"without a date", []*echo.Study{study("1", "", "7", "", "19600101")}, ""},
		{"another ID", []*echo.Study{study("1", "20250101", "8", "", "19600101")}, ""},
		{"another issuer", []*echo.Study{study("1", "20250101", "7", "ELSEWHERE", "19600101")}, ""},
		{"no ID at all", []*echo.Study{study("1", "20250101", "", "", "19600101")}, ""},
		{"another birth date", []*echo.Study{study("1", "20250101", "7", "", "19610101")}, "20250101 differs"},
		{"no birth date", []*echo.Study{study("1", "20250101", "7", "", "")}, "20250101 "},
		{"the same person before a later one of another", []*echo.Study{study("1", "20240101", "7", "", "19600101"), study("2", "20250101", "7", "", "19610101")}, "20240101 agrees"},
	} {
		got := ""
		if p := prior.Of(of, tt.others); p != nil {
			got = p.StudyDate + " " + string(p.BirthDate)
		}
		if got != tt.want {
			t.Errorf("%s: compared with %q, want %q", tt.name, got, tt.want)
		}
	}
	nobody := study("6", "20260301", "", "", "")
	if p := prior.Of(nobody, []*echo.Study{study("1", "20250101", "", "", "")}); p != nil {
		t.Errorf("studies without a patient ID were tied: %+v", p)
	}
}

// Earlier values that the report quotes are not taken for its own, and are
// compared with when no earlier study is given.
func TestQuotedFindingsAreThoseOfTheEarlierStudy(t *testing.T) {
	lib := reader(t).Library
	report := func(date, height, earlier string) *echo.Study {
		text := "header 00100020 = 7\nheader 00100030 = 19600101\nheader 00101010 = 066Y\nheader 00080020 = " + date + "\ncontainer DCM:125200\n" +
			"  contains num LN:8302-2 = " + height + "\n"
		if earlier != "" {
			text += "  contains container LN:18834-2 \"Previous Findings\"\n    contains num LN:8302-2 = " + earlier + "\n"
		}
		return extract.Study([]*sr.Document{srtest.Document(t, text)}, extract.Catalogues{Measurands: lib.Measurands, Statements: lib.Statements})
	}
	result := func(s *echo.Study, identifier string) finding.Result {
		for _, r := range judge.Study(lib, s, judge.By{}).All() {
			if r.Rule == identifier {
				return r
			}
		}
		t.Fatal("no rule " + identifier)
		return finding.Result{}
	}
	const height = "patient/height-as-before"
	quoting := report("20260301", "180 cm", "170 cm @20250614")
	got := result(quoting, height)
	if got.Outcome != finding.Fail || !strings.Contains(got.Message, "180 cm, 170 cm") {
		t.Errorf("quoted height: %s %q", got.Outcome, got.Message)
	}
	if n := len(got.Evidence); n != 2 || !strings.Contains(got.Evidence[1].Note, "2025-06-14") || !strings.Contains(got.Evidence[1].Note, "quotes") {
		t.Errorf("evidence %+v", got.Evidence)
	}
	if one := result(quoting, "patient/same-person-as-before"); one.Outcome != finding.NotApplicable {
		t.Errorf("a report agreed with itself about the person: %s", one.Outcome)
	}
	if one := result(report("20260301", "180 cm", ""), height); one.Outcome != finding.NotApplicable || !strings.Contains(one.Message, "no earlier study") {
		t.Errorf("without an earlier study: %s %q", one.Outcome, one.Message)
	}
	quoting.Prior = prior.Of(quoting, []*echo.Study{report("20250701", "181 cm", "")})
	if one := result(quoting, height); one.Outcome != finding.Pass {
		t.Errorf("an earlier study at hand is taken before what is quoted: %s %q", one.Outcome, one.Message)
	}
}
