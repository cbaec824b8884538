package audit

import (
	"slices"
	"strings"

	"echotally/internal/counted"
	"echotally/internal/finding"
	"echotally/internal/table"
	"echotally/internal/tally"
)

// Part is a part of a lab's studies; what is empty leaves nothing out.
type Part struct {
	Protocol string // identifier of a protocol that holds, of the base or set off
	Site     string
	Station  string // station name of the scanner
	Software string // its version
}

// Takes reports whether a study belongs to the part.
func (p Part) Takes(s *counted.Study) bool {
	is := func(want, have string) bool { return want == "" || want == have }
	return (is(p.Protocol, s.Protocol) || slices.Contains(s.Triggered, p.Protocol)) &&
		is(p.Site, s.Site) && is(p.Station, s.Device.Station) && is(p.Software, s.Device.Software)
}

// Words say which part it is, "" for all.
func (p Part) Words() string {
	var out []string
	for _, one := range [][2]string{{"protocol ", table.InWords(p.Protocol)}, {"site ", p.Site}, {"scanner ", p.Station}, {"software ", p.Software}} {
		if one[1] != "" {
			out = append(out, one[0]+one[1])
		}
	}
	if len(out) == 0 {
		return ""
	}
	return "only " + strings.Join(out, ", ")
}

// Parts are what parts of some studies may be asked for.
type Parts struct{ Protocols, Sites, Stations, Software []string }

// PartsOf gives them in order, without what is not known.
func PartsOf(studies []counted.Study) Parts {
	var p Parts
	for _, one := range []struct {
		to *[]string
		of func(*counted.Study) []string
	}{
		{&p.Protocols, func(s *counted.Study) []string { return append([]string{s.Protocol}, s.Triggered...) }},
		{&p.Sites, func(s *counted.Study) []string { return []string{s.Site} }},
		{&p.Stations, func(s *counted.Study) []string { return []string{s.Device.Station} }},
		{&p.Software, func(s *counted.Study) []string { return []string{s.Device.Software} }},
	} {
		seen := map[string]bool{"": true}
		for i := range studies {
			for _, name := range one.of(&studies[i]) {
				if !seen[name] {
					seen[name], *one.to = true, append(*one.to, name)
				}
			}
		}
		slices.Sort(*one.to)
	}
	return p
}

// As says how the studies behind a figure stand to it.
type As string

// Ways to stand to a measure or a rule.
const (
	Met        As = "met"
	NotMet     As = "not-met"     // missing without a reason, or failed
	Reasoned   As = "reason"      // missing with a reason in the record or a waiver
	CannotTell As = "cannot-tell" // counted in neither
)

// Behind asks for the studies behind a figure.
type Behind struct {
	Measure string // a headline, or rule: and the identifier of a rule; "" for any study
	As      As     // "" for all that are counted
	Cause   string // identifier of the likeliest slip behind a contradiction, "" for any
}

// Behind gives the studies behind a figure of the period as it was counted, the
// latest first. What no measure or rule is gives none.
func (o *Options) Behind(studies []counted.Study, b Behind) []*counted.Study {
	stands := o.standing(b.Measure)
	var out []*counted.Study
	for i := range studies {
		s := &studies[i]
		if !o.takes(s) || !o.Period.Holds(s.Date) || b.Cause != "" && !contradicts(s, b.Cause) {
			continue
		}
		if b.Measure != "" {
			if as := stands(s); as == "" || b.As != as && (b.As != "" || as == CannotTell) {
				continue
			}
		}
		out = append(out, s)
	}
	slices.SortStableFunc(out, func(a, b *counted.Study) int { return b.Date.Compare(a.Date) })
	return out
}

// takes reports whether a study is one of those asked for, of whatever date.
func (o *Options) takes(s *counted.Study) bool {
	return (o.Lab == "" || s.Lab == o.Lab) && o.Only.Takes(s)
}

// standing tells how studies stand to a measure, "" for not at all.
func (o *Options) standing(measure string) func(*counted.Study) As {
	if name, is := RuleOf(measure); is {
		return func(s *counted.Study) As { return o.toRule(s, name) }
	}
	m, known := o.Find(measure)
	if !known {
		return func(*counted.Study) As { return "" }
	}
	return func(s *counted.Study) As {
		switch counted, met := m.Of(s); {
		case counted && met:
			return Met
		case counted:
			return NotMet
		case m.Untold != nil && m.Untold(s):
			return CannotTell
		}
		return ""
	}
}

// toRule tells how a study stands to a rule.
func (o *Options) toRule(s *counted.Study, identifier string) As {
	for r := range s.Results.All() {
		if r.Rule.Identifier == identifier {
			return o.result(s, r)
		}
	}
	return ""
}

// result tells how a study stands to a rule, as the tables count it: a demand is put to
// eligible studies only, and a waiver takes no contradiction away.
func (o *Options) result(s *counted.Study, r tally.Result) As {
	if r.Rule.Kind != finding.Completeness {
		return asTold(r.Outcome)
	}
	if o.ineligible(s) != "" {
		return ""
	}
	switch s.Stands(r) {
	case tally.Satisfied:
		return Met
	case tally.Missing:
		return NotMet
	case tally.Excepted:
		return Reasoned
	case tally.CannotSay:
		return CannotTell
	}
	return ""
}

// asTold is how a study stands to a rule that is no demand.
func asTold(o finding.Outcome) As {
	switch o {
	case finding.Pass:
		return Met
	case finding.Fail:
		return NotMet
	case finding.Excused:
		return Reasoned
	case finding.Open, finding.Review:
		return CannotTell
	}
	return ""
}

// Rates counts how the studies of the period stand to each rule, by its identifier.
func (o *Options) Rates(studies []counted.Study) map[string]map[As]int {
	out := map[string]map[As]int{}
	for i := range studies {
		s := &studies[i]
		if !o.takes(s) || !o.Period.Holds(s.Date) {
			continue
		}
		for r := range s.Results.All() {
			as := o.result(s, r)
			if as == "" {
				continue
			}
			if out[r.Rule.Identifier] == nil {
				out[r.Rule.Identifier] = map[As]int{}
			}
			out[r.Rule.Identifier][as]++
		}
	}
	return out
}

// unknownCause stands for a contradiction without a likely slip.
const unknownCause = "not known"

func contradicts(s *counted.Study, cause string) bool {
	for r := range s.Results.All() {
		if r.Rule.Kind == finding.Consistency && r.Failing() && r.Grave() && (r.Cause == cause || r.Cause == "" && cause == unknownCause) {
			return true
		}
	}
	return false
}
