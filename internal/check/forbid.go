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
	var told []string
	for i := range e.study.Measurements {
		m := &e.study.Measurements[i]
		if detail, bad := e.faulty(m); bad && !m.Superseded {
			told = append(told, detail)
			res.Evidence = append(res.Evidence, finding.Evidence{Measurement: m, Note: detail})
		}
	}
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
				res.Evidence = append(res.Evidence, finding.Evidence{Image: i, Note: d.Detail})
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
		res.Outcome, res.Message = finding.Fail, strings.Join(compact(told), "; ")
	case len(res.Missing) > 0:
		res.Outcome, res.Message = finding.Open, cannotTell(res.Missing)
	default:
		res.Outcome = finding.Pass
	}
}

func (e *evaluation) forbids(fault string) bool { return slices.Contains(e.rule.File.Forbid, fault) }

// faulty tells the first forbidden fault of a measurement.
func (e *evaluation) faulty(m *echo.Measurement) (string, bool) {
	name := m.ConceptName.CodeMeaning
	for _, p := range m.Problems {
		if e.forbids(string(p.Kind)) {
			return strings.TrimSuffix(fmt.Sprintf("%s: %s: %s", name, problemTitles[p.Kind], p.Detail), ": "), true
		}
	}
	switch {
	case e.forbids(rule.UnmatchedCode) && m.Measurand == "" && m.Role == echo.Result:
		return name + ": code " + m.ConceptName.Key().String() + " is not known", true
	case e.forbids(rule.NoReason) && strings.TrimSpace(m.ValueText) == "" && m.Qualifier == nil:
		return name + ": no value and no reason given", true
	case e.forbids(rule.MeasuredUncalibrated) && m.Link != nil && !m.Link.Inferred && calibrated(&e.study.Images[m.Link.Image], m.Link.Region) == expr.False:
		return fmt.Sprintf("%s: measured on image %d, which gives no scale there", name, e.study.Images[m.Link.Image].Number), true
	case e.forbids(rule.ZScoreTableNotNamed) && m.ConceptName.Key() == zScoreConcept && e.authority(m) == "":
		return fmt.Sprintf("z-score %s%s: not said by whose reference values", strings.TrimSpace(m.ValueText), e.ofWhat(m)), true
	case e.forbids(rule.ExactDuplicate) && m.DuplicateOf != nil:
		return name + ": the same as item " + m.DuplicateOf.Item, true
	}
	return "", false
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
