package submission_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"echotally/internal/audit"
	"echotally/internal/counted"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/library"
	"echotally/internal/submission"
	"echotally/internal/ucum"
	"echotally/rules"
)

func day(text string) time.Time {
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return at
}

func candidate(study, sonographer, reader string, answers ...expr.Truth) submission.Candidate {
	c := submission.Candidate{Study: study, Date: day("2026-08-01"), Sonographer: sonographer, Reader: reader}
	for i, a := range answers {
		c.Clauses = append(c.Clauses, submission.Clause{Words: fmt.Sprint("clause ", i+1), Answer: a})
	}
	return c
}

// TestCasesAreSpreadOverTheStaff: nobody has a second case before everybody who has
// one that fits has a first, and no case that fails or cannot be told is taken.
func TestCasesAreSpreadOverTheStaff(t *testing.T) {
	var all []submission.Candidate
	for i := range 30 {
		all = append(all, candidate(fmt.Sprint("2.25.", i), []string{"a", "a", "a", "b", "c"}[i%5], []string{"x", "y"}[i%2], expr.True, expr.True))
	}
	all = append(all, candidate("2.25.90", "d", "z", expr.True, expr.False), candidate("2.25.91", "e", "z", expr.True, expr.Unknown))
	chosen := submission.Choose(all, 3)
	seen := map[string]int{}
	for _, c := range chosen {
		seen[c.Sonographer]++
		seen[c.Reader]++
	}
	if len(chosen) != 3 || seen["a"] != 1 || seen["b"] != 1 || seen["c"] != 1 || seen["x"] == 0 || seen["y"] == 0 || seen["z"] != 0 {
		t.Errorf("%v", seen)
	}
	if n := len(submission.Choose(all, 100)); n != 30 {
		t.Errorf("%d of the 30 that fit", n)
	}
	if f := all[31].Fits(); f != expr.Unknown {
		t.Errorf("a clause that cannot be told: %v", f)
	}
	failed := candidate("2.25.1", "", "", expr.Unknown, expr.False)
	if f := failed.Fits(); f != expr.False {
		t.Errorf("a clause that fails beside one that cannot be told: %v", f)
	}
}

// TestClausesArePutToTheStudy puts the shipped clauses of aortic stenosis to a study
// of an adult with a fast jet, and takes away what each of them asks for.
func TestClausesArePutToTheStudy(t *testing.T) {
	lib, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	of := lib.Cases[0]
	if of.Identifier != "aortic-stenosis" {
		t.Fatal(of.Identifier)
	}
	opt := audit.Defaults()
	put := func(change func(*echo.Study), counted counted.Study) map[string]string {
		s := &echo.Study{Measurements: []echo.Measurement{
			measured(t, lib, "aortic-valve-peak-velocity", "m/s", "4.1"), measured(t, lib, "aortic-valve-mean-gradient", "mm[Hg]", "42"), measured(t, lib, "aortic-valve-area-continuity", "cm2", "0.8"),
		}, Statements: []echo.Statement{{Identifier: "aortic-stenosis-severe"}}}
		change(s)
		counted.UID, counted.Date = "2.25.1", day("2026-08-01")
		out := map[string]string{}
		for _, c := range submission.Put(lib, of, s, &counted, &opt, day("2026-11-30")).Clauses {
			out[c.Words] = submission.Words(c.Answer)
		}
		return out
	}
	whole := put(func(*echo.Study) {}, counted.Study{})
	for words, is := range whole {
		if is != "yes" && words != "nothing required is missing" {
			t.Errorf("%s: %s", words, is)
		}
	}
	if whole["nothing required is missing"] != "cannot tell" {
		t.Errorf("a study of an unknown kind was called complete: %v", whole)
	}
	for name, change := range map[string]func(*echo.Study){
		"mean gradient reported":      func(s *echo.Study) { s.Measurements = s.Measurements[:1] },
		"severity said in the report": func(s *echo.Study) { s.Statements = nil },
		"no prosthesis mentioned": func(s *echo.Study) {
			s.Statements = append(s.Statements, echo.Statement{Identifier: "aortic-prosthesis"})
		},
	} {
		if is := put(change, counted.Study{}); is[name] != "no" {
			t.Errorf("%s: %v", name, is)
		}
	}
	slow := put(func(s *echo.Study) { s.Measurements[0] = measured(t, lib, "aortic-valve-peak-velocity", "m/s", "1.9") }, counted.Study{})
	for words, is := range slow {
		if strings.HasPrefix(words, "aortic peak velocity") && is != "no" {
			t.Errorf("%s: %s", words, is)
		}
	}
}

// measured is a measurement as a report gives it.
func measured(t *testing.T, lib *library.Library, measurand, unit, value string) echo.Measurement {
	t.Helper()
	x, _, err := ucum.ParseDecimal(value)
	if err != nil {
		t.Fatal(err)
	}
	u, err := ucum.Parse(unit)
	if err != nil {
		t.Fatal(err)
	}
	m := echo.Measurement{Measurand: measurand, ValueText: value, Role: echo.Result, Quantity: &ucum.Quantity{Value: x, Unit: u}}
	canonical, err := m.Quantity.To(lib.Measurands.Find(measurand).Unit)
	if err != nil {
		t.Fatal(err)
	}
	m.Canonical = &canonical
	return m
}
