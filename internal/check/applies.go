package check

import (
	"slices"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// concerns says why the rule does not concern this study, as far as that can be
// told without its values: most rules do not, and binding values is what takes
// the time. What of the patient is not known matters only when all else says
// that the rule applies.
func (c *Checker) concerns(one *rule.Rule) (unknown []finding.Missing, why string) {
	subject := &c.Study.Subject
	if one.AboutImages && len(c.Study.Images) == 0 {
		return nil, answer.NotLookedAt
	}
	if one.AboutPrior {
		if why := withoutPrior(c.Study.Prior, one.File.Forbid == nil); why != "" {
			return nil, why
		}
	}
	if len(one.Protocols) > 0 && !c.hold(one.Protocols) {
		return nil, "not part of this kind of study"
	}
	if len(one.Editions) > 0 && !slices.Contains(one.Editions, c.Library.Edition) {
		return nil, "of another guideline edition"
	}
	one.Prepare()
	switch answer.Within(one.Age, subject.AgeYears) {
	case expr.False:
		return nil, "not for this age"
	case expr.Unknown:
		unknown = append(unknown, answer.AgeMissing)
	}
	if one.Sex != "" {
		switch answer.IsSex(subject.PatientSex, one.Sex) {
		case expr.False:
			return nil, "not for this sex"
		case expr.Unknown:
			unknown = append(unknown, answer.SexMissing)
		}
	}
	if len(one.Stated) > 0 && c.FirstMentioned(one.Stated) == nil {
		return nil, "the record does not state: " + answer.Titles(one.Stated)
	}
	if s := c.FirstMentioned(one.Unless); s != nil {
		return nil, "the record states: " + s.Quote
	}
	if p := c.Implying(one.Unless); p != nil {
		return nil, "the study is one of: " + p.Title
	}
	return unknown, ""
}

// hold reports whether one of some protocols holds.
func (c *Checker) hold(protocols []string) bool {
	for _, p := range protocols {
		if slices.Contains(c.holding, p) {
			return true
		}
	}
	return false
}

// Implying is the protocol that holds and says what one of the statements would
// say: what explains a difference excuses it, whoever noticed it, the reader in
// words or the protocol in the numbers. Nil when there is none.
func (c *Checker) Implying(unless []*rule.Said) *rule.Protocol {
	if len(unless) == 0 {
		return nil
	}
	for _, p := range c.implying {
		for _, s := range unless {
			for _, d := range s.Definitions {
				if len(s.Views) == 0 && slices.Contains(p.Implies, d.Identifier) {
					return p
				}
			}
		}
	}
	return nil
}

// applies asks whether the values say that the rule is to be put to the study.
func applies(a *answer.Answers) expr.Truth {
	if a.Rule.When == nil {
		return expr.True
	}
	return a.Truth(a.Rule.When)
}

// withoutPrior says why a rule about an earlier study cannot be put to a study;
// "" when it can. A rule compares, or only forbids.
func withoutPrior(p *echo.Prior, compares bool) string {
	switch {
	case p == nil:
		return "no earlier study of this person is at hand"
	case !compares && p.Quoted:
		return "the earlier values are quoted by this report itself"
	case compares && p.BirthDate == echo.Differs:
		return "the earlier study under this patient ID has another birth date"
	case compares && p.BirthDate != echo.Agrees:
		return "not known whether the earlier study is of the same person: no birth date"
	}
	return ""
}
