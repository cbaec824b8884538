package audit

import (
	"strings"

	"echotally/internal/counted"
	"echotally/internal/stats"
	"echotally/internal/tally"
)

// Measure is a share of studies that the lab follows. The study is the unit:
// what one study holds many times is not independent.
type Measure struct {
	Identifier string
	Title      string
	Meaning    string
	Target     float64 // 0-1; the lab's choice
	// Of tells whether the study is in the denominator and whether it is met.
	Of func(*counted.Study) (counted, met bool)
	// Untold tells of a study that is not counted since something about it cannot
	// be told; nil where that does not happen.
	Untold func(*counted.Study) bool
	// OfTimes is about the lab's own times, on which no scanner tells.
	OfTimes bool
}

// over counts the measure over studies.
func (m *Measure) over(studies []*counted.Study) stats.Proportion {
	var p stats.Proportion
	for _, s := range studies {
		if counted, met := m.Of(s); counted {
			p.Total++
			if met {
				p.Count++
			}
		}
	}
	return p
}

// Identifiers of the headline measures.
const (
	CompleteStrict = "complete-strict"
	Complete       = "complete-with-exceptions"
	Conditional    = "conditional-complete"
	Consistent     = "no-contradiction"
	Views          = "views-stated"
	Named          = "measurements-named"
	ReadInTime     = "read-in-time"
	SignedInTime   = "signed-in-time"
)

// viewShare and namedShare say when a study counts as having its views stated
// and its measurements named (site choice: one in ten may be an odd one).
const (
	viewShare  = 0.9
	namedShare = 0.9
)

// Headlines are the measures of page one.
func (o *Options) Headlines() []Measure {
	all := []Measure{
		{Identifier: CompleteStrict, Title: "Nothing required is missing", Target: 0.80,
			Meaning: "eligible studies in which every completeness rule of severity error or warning that applied is met; a recorded reason does not help, notes do not count; a study of which something cannot be told while nothing is missing is in neither figure", Of: o.complete(true, false), Untold: o.untold(true, false)},
		{Identifier: Complete, Title: "Nothing is missing without a reason", Target: 0.90,
			Meaning: "eligible studies in which every completeness rule of severity error or warning that applied is met, excused by the record or waived as an exception; notes do not count; a study of which something cannot be told while nothing is missing is in neither figure", Of: o.complete(false, false), Untold: o.untold(false, false)},
		{Identifier: Conditional, Title: "What the findings call for is recorded", Target: 0.90,
			Meaning: "eligible studies of which rules of severity error or warning ask for more than of every study of their kind, since something in them sets it off (a stenosis, a jet, a pressure that is stated): all of that is there or excused, notes do not count", Of: o.complete(false, true), Untold: o.untold(false, true)},
		{Identifier: Consistent, Title: "Nothing contradicts itself", Target: 0.95,
			Meaning: "read studies without a failed consistency rule of severity warning or error", Of: consistent},
		{Identifier: Views, Title: "Views are stated", Target: 0.95,
			Meaning: "read studies in which at least 90 % of the measurements that belong to a view state it",
			Of: func(s *counted.Study) (bool, bool) {
				return !s.Unread && s.Coding.WantViews > 0, float64(s.Coding.Views) >= viewShare*float64(s.Coding.WantViews)
			}},
		{Identifier: Named, Title: "Measurements can be named", Target: 0.95,
			Meaning: "read studies in which at least 90 % of the measurements have a code that a measurand file names and a unit that is understood",
			Of: func(s *counted.Study) (bool, bool) {
				c := s.Coding
				return c.Measurements > 0, float64(c.Measurements-c.Unnamed-c.WrongUnit) >= namedShare*float64(c.Measurements)
			}},
		{Identifier: ReadInTime, Title: "Read in time", Target: 0.95, Meaning: "studies with a known end that were read within the standard; one still unread past it counts as late", Of: o.readInTime, Untold: endUnknown, OfTimes: true},
		{Identifier: SignedInTime, Title: "Signed in time", Target: 0.95, Meaning: "studies with a known reading that were signed within the standard; one still unsigned past it counts as late", Of: o.signedInTime, Untold: untimed, OfTimes: true},
	}
	for i := range all {
		if t, ok := o.Targets[all[i].Identifier]; ok {
			all[i].Target = t
		}
	}
	return all
}

// ineligible says why a study is not in the denominators of completeness, ""
// when it is.
func (o *Options) ineligible(s *counted.Study) string {
	switch {
	case s.Unread:
		return "no readable report"
	case s.Protocol == "":
		return "kind of study not recognised"
	}
	for _, kind := range o.OutOfScope {
		if s.Protocol == kind {
			return "out of scope: " + strings.ToLower(s.Kind)
		}
	}
	return ""
}

func (o *Options) complete(strict, conditional bool) func(*counted.Study) (bool, bool) {
	return func(s *counted.Study) (counted, met bool) {
		t, asked := o.asked(s, conditional)
		lacks := t.Missing
		if strict {
			lacks += t.Excepted
		}
		// What cannot be told is no pass: without a gap the study is not counted.
		return asked && (lacks > 0 || t.Open == 0), lacks == 0
	}
}

// asked gives the demands a completeness measure counts of a study, and whether
// there are any.
func (o *Options) asked(s *counted.Study, conditional bool) (tally.Count, bool) {
	if o.ineligible(s) != "" {
		return tally.Count{}, false
	}
	t := s.Sum().All
	if conditional {
		t = s.Sum().Conditional
	}
	return t, t != (tally.Count{})
}

// untold tells whether something cannot be told of a study in which nothing is
// missing.
func (o *Options) untold(strict, conditional bool) func(*counted.Study) bool {
	of := o.complete(strict, conditional)
	return func(s *counted.Study) bool {
		_, asked := o.asked(s, conditional)
		counted, _ := of(s)
		return asked && !counted
	}
}

func consistent(s *counted.Study) (counted, met bool) { return !s.Unread, s.Sum().Contradictions == 0 }

// rulePrefix makes a measure of a rule: rule:left-ventricle/size-present.
const rulePrefix = "rule:"

// RuleOf gives the identifier of the rule that a measure stands for.
func RuleOf(measure string) (identifier string, ok bool) {
	return strings.CutPrefix(measure, rulePrefix)
}

// Find gives the measure of an identifier: a headline, or a rule's by "rule:"
// and its identifier (for completeness the strict share, for consistency the
// share without contradiction).
func (o *Options) Find(identifier string) (Measure, bool) {
	for _, m := range o.Headlines() {
		if m.Identifier == identifier {
			return m, true
		}
	}
	name, ok := RuleOf(identifier)
	if !ok || name == "" {
		return Measure{}, false
	}
	return Measure{Identifier: identifier, Title: name, Of: func(s *counted.Study) (bool, bool) {
		for r := range s.Results.All() {
			if r.Rule.Identifier == name {
				at := s.Stands(r)
				return at == tally.Satisfied || at == tally.Missing || at == tally.Excepted, at == tally.Satisfied
			}
		}
		return false, false
	}}, true
}
