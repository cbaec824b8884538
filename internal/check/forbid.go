package check

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// forbid fails when the record holds any of the faults, naming each.
func (e *evaluation) forbid(res *finding.Result) {
	var faults alikeFaults
	for i := range e.study.Measurements {
		m := &e.study.Measurements[i]
		if what, fault, bad := e.faulty(m); bad && !m.Superseded {
			faults.add(what, fault)
			res.Evidence = append(res.Evidence, finding.Evidence{Measurement: m, Note: fault})
		}
	}
	told := faults.told()
	for _, d := range e.study.Documents {
		if d.SupersededBy == "" {
			told = append(told, e.documentFaults(d)...)
		}
	}
	for n := range e.study.Images {
		i := &e.study.Images[n]
		for _, d := range i.Deviations {
			if e.forbids(string(d.Problem)) {
				detail := fmt.Sprintf("image %d: %s", i.Number, d.Detail)
				told = append(told, detail)
				res.Evidence = append(res.Evidence, finding.Evidence{Image: i})
			}
		}
	}
	subject := e.study.Subject
	if e.forbids(rule.SexNotRecorded) && subject.PatientSex == "" {
		told = append(told, "patient's sex not recorded")
	}
	if e.forbids(rule.AgeNotRecorded) && subject.AgeYears == nil {
		told = append(told, "patient's age not recorded")
	}
	told = append(told, e.forbidOther(res)...)
	switch {
	case len(told) > 0:
		res.Outcome, res.Message = finding.Fail, capital(strings.Join(compact(told), "; "))
	case len(res.Missing) > 0:
		res.Outcome, res.Message = finding.Open, cannotTell(res.Missing)
	default:
		res.Outcome = finding.Pass
	}
}

func (e *evaluation) forbids(fault string) bool { return slices.Contains(e.rule.File.Forbid, fault) }

// faulty tells the first forbidden fault of a measurement: what has it, and
// which it is.
func (e *evaluation) faulty(m *echo.Measurement) (what, fault string, bad bool) {
	name := m.ConceptName.CodeMeaning
	for _, p := range m.Problems {
		if !e.forbids(string(p.Kind)) {
			continue
		}
		if p.Kind == echo.UnitAlias {
			return name, p.Detail, true
		}
		return name, strings.TrimSuffix(problemTitles[p.Kind]+": "+p.Detail, ": "), true
	}
	switch {
	case e.forbids(rule.UnmatchedCode) && m.Measurand == "" && m.Role == echo.Result:
		return name + " (" + m.ConceptName.Key().String() + ")", "the code is not known", true
	case e.forbids(rule.NoReason) && strings.TrimSpace(m.ValueText) == "" && m.Qualifier == nil:
		return name, "no value and no reason given", true
	case e.forbids(rule.MeasuredUncalibrated) && m.Link != nil && !m.Link.Inferred && calibrated(&e.study.Images[m.Link.Image], m.Link.Region) == expr.False:
		return name, fmt.Sprintf("measured on image %d, which gives no scale there", e.study.Images[m.Link.Image].Number), true
	case e.forbids(rule.ZScoreTableNotNamed) && m.ConceptName.Key() == zScoreConcept && e.authority(m) == "":
		return fmt.Sprintf("Z-score %s%s", strings.TrimSpace(m.ValueText), e.ofWhat(m)), "not said by whose reference values", true
	case e.forbids(rule.ExactDuplicate) && m.DuplicateOf != nil:
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

func (e *evaluation) documentFaults(d echo.Document) []string {
	var out []string
	if e.forbids(rule.PartlyRead) && d.Partial {
		out = append(out, "a report could be read only in part")
	}
	if e.forbids(rule.NotCompleted) && d.CompletionFlag != "COMPLETE" {
		out = append(out, "a report is not marked complete")
	}
	if e.forbids(rule.NotVerified) && d.VerificationFlag != "VERIFIED" {
		out = append(out, "a report is not verified")
	}
	if e.forbids(rule.DepartsFromFormat) {
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
