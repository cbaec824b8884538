package check

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// forbidden is what a record holds of what a rule forbids.
type forbidden struct {
	rule     *rule.Rule
	study    *answer.Reading
	told     []string // each fault in words
	evidence []finding.Evidence
	missing  []finding.Missing // what leaves it open whether there is one
}

// forbid fails when the record holds any of the faults, naming each.
func (d *decision) forbid() {
	f := &d.forbidden
	f.rule, f.study = d.answers.Rule, d.answers.Reading
	f.gather()
	switch {
	case len(f.told) > 0:
		d.outcome = finding.Fail
	case len(f.missing) > 0:
		d.outcome = finding.Open
	default:
		d.outcome = finding.Pass
	}
}

func (d *decision) tellForbidden(res *finding.Result) {
	f := &d.forbidden
	res.Missing, res.Evidence = f.missing, f.evidence
	switch d.outcome {
	case finding.Fail:
		res.Message = answer.Capital(strings.Join(compact(f.told), "; "))
	case finding.Open:
		res.Message = answer.CannotTell(f.missing)
	}
}

func (f *forbidden) gather() {
	s := f.study.Study
	var faults alikeFaults
	for i := range s.Measurements {
		m := &s.Measurements[i]
		if m.Superseded {
			continue
		}
		if what, fault, bad := f.faulty(m); bad {
			faults.add(what, fault)
			f.evidence = append(f.evidence, finding.Evidence{Measurement: m, Note: fault})
		}
	}
	f.told = faults.told()
	for i := range s.Documents {
		if s.Documents[i].SupersededBy == "" {
			f.told = append(f.told, f.documentFaults(&s.Documents[i])...)
		}
	}
	for n := range s.Images {
		i := &s.Images[n]
		for _, d := range i.Deviations {
			if f.forbids(string(d.Problem)) {
				f.told = append(f.told, fmt.Sprintf("image %d: %s", i.Number, d.Detail))
				f.evidence = append(f.evidence, finding.Evidence{Image: i})
			}
		}
	}
	if f.forbids(rule.SexNotRecorded) && s.Subject.PatientSex == "" {
		f.told = append(f.told, "patient's sex not recorded")
	}
	if f.forbids(rule.AgeNotRecorded) && s.Subject.AgeYears == nil {
		f.told = append(f.told, "patient's age not recorded")
	}
	f.otherPerson()
	for _, c := range s.Contradictions {
		if slices.ContainsFunc(f.rule.File.Forbid, func(w string) bool { return slices.Contains(rule.Contradicted(w), c.Of) }) {
			f.told = append(f.told, contradiction(c))
		}
	}
}

// contradiction says what contradicts what, without what either says.
func contradiction(c echo.Contradiction) string {
	switch {
	case c.Of == echo.OfAge && c.Within == echo.InReport:
		return "the age is not that of the birth date on the day of the study"
	case c.Of == echo.OfContentDate:
		return "the content of a report is dated before the day of the study"
	}
	what := map[echo.Attribute]string{
		echo.OfName: "patient's name", echo.OfPatientID: "patient ID", echo.OfBirthDate: "birth date", echo.OfSex: "sex", echo.OfAge: "age",
		echo.OfHeight: "height", echo.OfWeight: "weight", echo.OfStudyDate: "study date", echo.OfAccessionNumber: "accession number",
	}[c.Of]
	if c.Within == echo.InReport {
		return "the " + what + " in the content of a report is another than in its header"
	}
	return "the " + what + " is not the same in all objects of the study"
}

func (f *forbidden) forbids(fault string) bool { return slices.Contains(f.rule.File.Forbid, fault) }

// faulty tells the first forbidden fault of a measurement: what has it, and
// which it is.
func (f *forbidden) faulty(m *echo.Measurement) (what, fault string, bad bool) {
	name := m.ConceptName.CodeMeaning
	for _, p := range m.Problems {
		if !f.forbids(string(p.Kind)) {
			continue
		}
		if p.Kind == echo.UnitAlias {
			return name, p.Detail, true
		}
		return name, strings.TrimSuffix(problemTitles[p.Kind]+": "+p.Detail, ": "), true
	}
	switch {
	case f.forbids(rule.UnmatchedCode) && m.Measurand == "" && m.Role == echo.Result:
		return name + " (" + m.ConceptName.Key().String() + ")", "the code is not known", true
	case f.forbids(rule.NoReason) && strings.TrimSpace(m.ValueText) == "" && m.Qualifier == nil && f.study.ReasonFor(m) == nil:
		return name, "no value and no reason given", true
	case f.forbids(rule.MeasuredUncalibrated) && m.Link != nil && !m.Link.Inferred && answer.Uncalibrated(&f.study.Study.Images[m.Link.Image], m.Link.Region):
		return name, fmt.Sprintf("measured on image %d, which gives no scale there", f.study.Study.Images[m.Link.Image].Number), true
	case f.forbids(rule.ZScoreTableNotNamed) && answer.IsScore(m) && f.study.Authority(m) == "":
		return fmt.Sprintf("Z-score %s%s", strings.TrimSpace(m.ValueText), f.study.OfWhat(m)), "not said by whose reference values", true
	case f.forbids(rule.ExactDuplicate) && m.DuplicateOf != nil:
		return name, "the same as item " + m.DuplicateOf.Item, true
	}
	return "", "", false
}

// alikeFaults gathers what has the same fault, in the order in which faults
// were met.
type alikeFaults struct {
	faults []string
	of     map[string][]string
}

func (a *alikeFaults) add(what, fault string) {
	if a.of == nil {
		a.of = map[string][]string{}
	}
	if a.of[fault] == nil {
		a.faults = append(a.faults, fault)
	}
	if !slices.Contains(a.of[fault], what) {
		a.of[fault] = append(a.of[fault], what)
	}
}

// told says each fault once. Of many names the first few are told: the evidence
// holds them all.
func (a *alikeFaults) told() []string {
	const shown = 3
	var out []string
	for _, fault := range a.faults {
		names := a.of[fault]
		text := strings.Join(names, ", ")
		if len(names) > shown+1 {
			text = fmt.Sprintf("%s and %d more", strings.Join(names[:shown], ", "), len(names)-shown)
		}
		out = append(out, text+": "+fault)
	}
	return out
}

var problemTitles = map[echo.ProblemKind]string{
	echo.NoValue: "no value", echo.UnitNotUnderstood: "unit not understood", echo.UnitAlias: "unit not written in UCUM",
	echo.UnitWrongDimension: "unit cannot be right", echo.ValueNotNumber: "value is not a number",
	echo.SeveralValues: "several values in one item", echo.RepresentationsDiffer: "the value's representations differ",
}

func (f *forbidden) documentFaults(d *echo.Document) []string {
	var out []string
	if f.forbids(rule.PartlyRead) && d.Partial {
		out = append(out, "a report could be read only in part")
	}
	if f.forbids(rule.NotCompleted) && d.CompletionFlag != "COMPLETE" {
		out = append(out, "a report is not marked complete")
	}
	if f.forbids(rule.NotVerified) && d.VerificationFlag != "VERIFIED" {
		out = append(out, "a report is not verified")
	}
	if f.forbids(rule.DepartsFromFormat) {
		for _, dev := range d.Deviations {
			out = append(out, fmt.Sprintf("item %s: %s (%s)", dev.Item, dev.Detail, dev.Clause))
		}
	}
	return out
}

func compact(in []string) []string {
	var out []string
	for _, s := range in {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

// otherPerson tells what of the person differs between the two studies. What is
// not recorded in one of them leaves the outcome open; without a birth date sex
// alone shows nothing, since files made anonymous may share an ID.
func (f *forbidden) otherPerson() {
	p := f.study.Study.Prior
	if p == nil {
		return
	}
	sex := f.study.Study.Subject.PatientSex
	when := answer.FromStudy("", "the earlier study", p.StudyDate)
	for _, one := range []struct {
		fault   string
		is      echo.Agreement
		missing finding.Missing
		words   string
	}{
		{rule.BirthDateDiffers, p.BirthDate, birthDateMissing, "the birth date is another than in " + when},
		{rule.SexDiffers, sexes(sex, p.PatientSex), answer.SexMissing, fmt.Sprintf("sex is %s, in %s it is %s", sex, when, p.PatientSex)},
	} {
		if !f.forbids(one.fault) {
			continue
		}
		switch one.is {
		case echo.Agrees:
		case echo.Differs:
			if p.BirthDate != "" {
				f.told = append(f.told, one.words)
			}
		default:
			one.missing.Reason = "not recorded in both studies"
			f.missing = append(f.missing, one.missing)
		}
	}
}

var birthDateMissing = finding.Missing{Alias: "birth_date", Measurand: "patient-birth-date", Title: "Patient's birth date"}

func sexes(a, b string) echo.Agreement {
	switch {
	case a == "" || b == "":
		return ""
	case a == b:
		return echo.Agrees
	}
	return echo.Differs
}
