// Package check puts rules to a study and gives results. It is pure: no files,
// no clock, no log, no network.
//
// Truth is three-valued throughout. A rule passes only when its demand is known
// to hold; when a missing input leaves the verdict undecided the outcome is
// open and says what is missing.
package check

import (
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/rule"
)

// Study puts every rule of the set to the study. Results come in the order of
// the set (structure, identifier).
func Study(set *library.Library, s *echo.Study) (Protocols, []finding.Result) {
	r := read(set, s)
	protocols := r.chooseProtocols()
	results := make([]finding.Result, 0, len(set.Rules))
	for _, one := range set.Rules {
		results = append(results, r.judge(one))
	}
	r.explain(results)
	return protocols, results
}

// Verdict is what a rule came to on a study, without a word of why.
type Verdict struct {
	Rule     *rule.Rule
	Outcome  finding.Outcome
	Severity finding.Severity
}

// Verdicts puts rules of the set to the study, for judging many studies again.
// What does not apply is left out. The protocols are chosen anew unless they
// are known.
func Verdicts(set *library.Library, s *echo.Study, rules []*rule.Rule, known *Protocols) (Protocols, []Verdict) {
	r := read(set, s)
	r.brief = true
	if known == nil {
		chosen := r.chooseProtocols()
		known = &chosen
	} else {
		r.take(*known)
	}
	out := make([]Verdict, 0, len(rules)/2)
	for _, one := range rules {
		if v := r.verdict(one); v.Outcome != finding.NotApplicable {
			out = append(out, v)
		}
	}
	return *known, out
}

// verdict is judge without words.
func (r *reading) verdict(one *rule.Rule) Verdict {
	e := &evaluation{reading: r, rule: one}
	unknown, why := e.concerns()
	if why != "" {
		return Verdict{one, finding.NotApplicable, ""}
	}
	e.fillFor(one.When)
	if outcome, _, _ := e.applies(unknown); outcome != "" {
		return Verdict{one, outcome, ""}
	}
	one.Complete()
	e.fill()
	var res finding.Result
	e.verdict(&res)
	e.grade(&res)
	e.doubt(&res)
	return Verdict{one, res.Outcome, res.Severity}
}

// About is what a rule says of itself.
func About(one *rule.Rule) *finding.About {
	return &finding.About{
		Identifier: one.File.Identifier, Version: one.File.Version, Title: one.File.Title, Kind: one.Kind, Structure: one.Structure,
		Severity: one.Severity, Usage: one.File.Usage, Source: citation(one), Measurands: one.MeasurandNames(), Obtain: one.Obtain(), Between: one.AboutPrior,
	}
}

// judge puts one rule to the study.
func (r *reading) judge(one *rule.Rule) finding.Result {
	e := &evaluation{reading: r, rule: one}
	res := finding.Result{Rule: one.File.Identifier, About: About(one), Severity: one.Severity}
	unknown, why := e.concerns()
	if why != "" {
		res.Outcome, res.Message = finding.NotApplicable, why
		return res
	}
	e.fill()
	if outcome, why, missing := e.applies(unknown); outcome != "" {
		res.Outcome, res.Message, res.Missing = outcome, why, missing
		return res
	}
	one.Complete()
	e.verdict(&res)
	e.grade(&res)
	r.note(e, &res)
	if one.File.Forbid == nil {
		res.Evidence = append(append(res.Evidence, e.datedEvidence(e.evidence())...), e.imageEvidence()...)
	}
	if one.Message != nil && (res.Outcome == finding.Fail || res.Outcome == finding.Review) {
		res.Message = e.write(one.Message)
	}
	if note := e.editionNote(); note != "" && (res.Outcome == finding.Fail || res.Outcome == finding.Review) {
		res.Message += " " + note
	}
	e.doubt(&res)
	return res
}

// grade settles how a failure counts: excused, and how grave.
func (e *evaluation) grade(res *finding.Result) {
	res.Severity = e.rule.Severity
	if res.Outcome == finding.Fail {
		e.excuse(res)
	}
	for _, s := range e.rule.SeverityIf {
		if s.When.Holds(e.value) == expr.True {
			res.Severity = s.Severity
			break
		}
	}
}

// verdict settles pass, fail, open or review.
func (e *evaluation) verdict(res *finding.Result) {
	switch {
	case e.rule.Review != nil && e.truthOf(e.rule.Review) == expr.True:
		res.Outcome, res.Message = finding.Review, "a person must look: "+e.arithmetic(e.rule.Review)
	case e.rule.Recompute != nil:
		e.recompute(res)
	case e.rule.ZScore != nil:
		e.zScoresHold(res)
	case e.rule.Require != nil:
		e.require(res)
	default:
		e.forbid(res)
	}
}

func (e *evaluation) require(res *finding.Result) {
	p := e.rule.Require
	switch e.truthOf(p) {
	case expr.True:
		res.Outcome = finding.Pass
	case expr.False:
		res.Outcome, res.Message = finding.Fail, "does not hold: "+e.arithmetic(p)
		if res.Missing = e.absent(p); len(res.Missing) > 0 {
			res.Message = "missing: " + list(res.Missing)
		}
	default:
		res.Outcome, res.Missing = finding.Open, e.missing(p)
		res.Message = cannotTell(res.Missing)
	}
}

// concerns says why the rule does not concern this study, as far as that can be
// told without its values: most rules do not, and binding values is what takes
// the time. What of the patient is not known matters only when all else says
// that the rule applies.
func (e *evaluation) concerns() (unknown []finding.Missing, why string) {
	a := e.rule.File.AppliesTo
	if e.rule.AboutImages && len(e.study.Images) == 0 {
		return nil, notLookedAt
	}
	if e.rule.AboutPrior {
		if why := e.withoutPrior(); why != "" {
			return nil, why
		}
	}
	if len(a.Protocol) > 0 && !e.inProtocol(a.Protocol) {
		return nil, "not part of this kind of study"
	}
	e.rule.Prepare()
	for _, gate := range []struct {
		needed  bool
		holds   expr.Truth
		missing finding.Missing
		why     string
	}{
		{!e.rule.Age.Any(), within(e.rule.Age, e.study.Subject.AgeYears), ageMissing, "not for this age"},
		{a.Sex != "", isSex(e.study.Subject.PatientSex, a.Sex), sexMissing, "not for this sex"},
	} {
		if gate.needed && gate.holds == expr.False {
			return nil, gate.why
		}
		if gate.needed && gate.holds == expr.Unknown {
			unknown = append(unknown, gate.missing)
		}
	}
	if len(e.rule.Stated) > 0 && e.firstMentioned(e.rule.Stated) == nil {
		return nil, "the record does not state: " + titles(e.rule.Stated)
	}
	if s := e.firstMentioned(e.rule.Unless); s != nil {
		return nil, "the record states: " + s.Quote
	}
	return unknown, ""
}

// applies returns an outcome when the values say that the rule is not to be put
// to this study, or when it cannot be told whether it should.
func (e *evaluation) applies(unknown []finding.Missing) (finding.Outcome, string, []finding.Missing) {
	if w := e.rule.When; w != nil {
		switch e.truthOf(w) {
		case expr.False:
			return finding.NotApplicable, "only when " + e.arithmetic(w), nil
		case expr.Unknown:
			return finding.NotApplicable, "not known whether it applies: " + list(e.missing(w)), nil
		}
	}
	if len(unknown) > 0 {
		return finding.Open, cannotTell(unknown), unknown
	}
	return "", "", nil
}

// excuse turns a failed completeness rule into excused when the record gives
// the reason: a statement, or an empty item whose qualifier says why.
func (e *evaluation) excuse(res *finding.Result) {
	if e.rule.Kind != finding.Completeness {
		return
	}
	if s := e.firstMentioned(e.rule.ExcusedBy); s != nil {
		res.Outcome, res.Message = finding.Excused, "absent, with the reason recorded: "+s.Quote
		res.Evidence = append(res.Evidence, finding.Evidence{Statement: s, Note: "reason"})
		return
	}
	for _, name := range sortedNames(e.bindings) {
		b := e.bindings[name]
		for _, m := range b.empty {
			if len(b.items) == 0 && m.Qualifier != nil {
				res.Outcome, res.Message = finding.Excused, "absent, with the reason recorded: "+m.Qualifier.CodeMeaning
				res.Evidence = append(res.Evidence, finding.Evidence{Alias: name, Measurement: m, Note: "reason"})
				return
			}
		}
	}
}

// citation is the first artifact of the rule in short.
func citation(one *rule.Rule) string {
	if len(one.File.RelatedArtifact) == 0 {
		return ""
	}
	first := one.File.RelatedArtifact[0]
	if first.Locator == "" {
		return first.Label
	}
	return first.Label + ", " + first.Locator
}
