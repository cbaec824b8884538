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
	"echotally/internal/rule"
)

// Study puts every rule of the set to the study. Results come in the order of
// the set (structure, identifier).
func Study(set *rule.Set, s *echo.Study) (Protocols, []finding.Result) {
	r := read(set, s)
	protocols := r.chooseProtocols()
	results := make([]finding.Result, 0, len(set.Rules))
	for _, one := range set.Rules {
		results = append(results, r.judge(one))
	}
	return protocols, results
}

// judge puts one rule to the study.
func (r *reading) judge(one *rule.Rule) finding.Result {
	e := r.bind(one)
	res := finding.Result{
		Rule: one.File.Identifier, Version: one.File.Version, Title: one.File.Title, Kind: one.Kind, Structure: one.Structure,
		Severity: one.Severity, Usage: one.File.Usage, Source: citation(one), Measurands: e.measurands(), Obtain: obtain(one),
	}
	if outcome, why, missing := e.applies(); outcome != "" {
		res.Outcome, res.Message, res.Missing = outcome, why, missing
		return res
	}
	e.verdict(&res)
	if res.Outcome == finding.Fail {
		e.excuse(&res)
		res.Causes = e.causes()
	}
	for _, s := range one.SeverityIf {
		if s.When.Holds(e.value) == expr.True {
			res.Severity = s.Severity
			break
		}
	}
	if one.File.Forbid == nil {
		res.Evidence = append(append(res.Evidence, e.evidence()...), e.imageEvidence()...)
	}
	if one.Message != nil && (res.Outcome == finding.Fail || res.Outcome == finding.Review) {
		res.Message = e.write(one.Message)
	}
	e.doubt(&res)
	return res
}

// verdict settles pass, fail, open or review.
func (e *evaluation) verdict(res *finding.Result) {
	switch {
	case e.rule.Review != nil && e.truthOf(e.rule.Review) == expr.True:
		res.Outcome, res.Message = finding.Review, "a person must look: "+e.arithmetic(e.rule.Review)
	case e.rule.Recompute != nil:
		e.recompute(res)
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

// applies returns an outcome when the rule is not to be put to this study, or
// when it cannot be told whether it should.
func (e *evaluation) applies() (finding.Outcome, string, []finding.Missing) {
	a := e.rule.File.AppliesTo
	if e.rule.AboutImages && len(e.study.Images) == 0 {
		return finding.NotApplicable, notLookedAt, nil
	}
	if len(a.Protocol) > 0 && !e.inProtocol(a.Protocol) {
		return finding.NotApplicable, "not part of this kind of study", nil
	}
	var unknown []finding.Missing // matters only when all else says that the rule applies
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
			return finding.NotApplicable, gate.why, nil
		}
		if gate.needed && gate.holds == expr.Unknown {
			unknown = append(unknown, gate.missing)
		}
	}
	if len(e.rule.Stated) > 0 && e.firstMentioned(e.rule.Stated) == nil {
		return finding.NotApplicable, "the record does not state: " + titles(e.rule.Stated), nil
	}
	if s := e.firstMentioned(e.rule.Unless); s != nil {
		return finding.NotApplicable, "the record states: " + s.Quote, nil
	}
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

func obtain(one *rule.Rule) *finding.Obtain {
	if o := one.File.Obtain; o != nil {
		return &finding.Obtain{Window: o.Window, View: o.View, How: o.How}
	}
	for _, name := range sortedNames(one.Aliases) {
		if m := one.Aliases[name].Measurands[0]; m.Obtain != nil {
			return m.Obtain
		}
	}
	return nil
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
