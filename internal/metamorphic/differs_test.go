package metamorphic

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"echotally/internal/finding"
	"echotally/internal/rule"
)

// alteration makes a study say something else. It returns what it is about:
// measurands, or statements; nil when there is nothing to alter.
type alteration struct {
	name    string
	apply   func(b *bench, s *study) []string
	may     func(r *rule.Rule, about []string) bool              // rules that may come to something else
	must    func(r *rule.Rule, was outcome, about []string) bool // rules that have to
	becomes func(c change) bool                                  // what those come to; nil for anything
	atLeast int                                                  // changed rules per hundred studies
}

func alterations() []alteration {
	return []alteration{
		{
			name: "a view is not noted", apply: viewRemoved, may: namesAnd(aboutViews),
			must: func(r *rule.Rule, was outcome, about []string) bool {
				return was.Outcome == finding.Pass && names(r, about) && strings.HasPrefix(r.File.Require, "noted(") && strings.Contains(r.File.Require, "imageView")
			}, atLeast: 50,
		},
		{name: "a beat removed", apply: beatRemoved, may: namesAnd(aboutSamples), atLeast: 5},
		{
			name: "all but one beat removed", apply: beatsRemoved, may: names,
			must: mustAsk("beats(", "spread("), atLeast: 50,
		},
		{
			name: "means only", apply: meansLeft, may: namesAnd(aboutSamples), must: mustAsk("beats(", "spread("),
			becomes: func(c change) bool { return c.to.Outcome == finding.Open || c.to.Outcome == finding.NotApplicable }, atLeast: 50,
		},
		{name: "phases of breathing exchanged", apply: exchanged(respiratoryPoint), may: names, atLeast: 80},
		{name: "phases of the cycle exchanged", apply: exchanged(cyclePoint), may: names, atLeast: 20},
		{name: "a statement removed", apply: statementRemoved, may: speaksOf, atLeast: 30},
		{name: "a measurand removed", apply: measurandRemoved, may: names, must: asksPresent, atLeast: 80},
		{name: "ten times too large", apply: tenfold, may: names, atLeast: 80},
	}
}

// names: one of the measurands stands anywhere in the rule, if only in what tells
// whether it applies.
func names(r *rule.Rule, about []string) bool {
	all := r.MeasurandNames()
	for _, choice := range r.File.Measurands {
		all = append(all, choice.Measurand...)
	}
	return slices.ContainsFunc(all, func(m string) bool { return slices.Contains(about, m) })
}

// aboutViews: the rule asks in which view a value was taken, or tells values apart by it.
func aboutViews(r *rule.Rule) bool {
	text := r.File.Require + r.File.AppliesTo.When + r.File.Review
	return bytes.Contains(r.Source, []byte("imageView")) || strings.Contains(text, "views(") || strings.Contains(text, "windows(") || aboutSamples(r) ||
		r.File.Recompute != nil || r.File.Computed != nil // a result is held against values of its own view
}

func namesAnd(is func(*rule.Rule) bool) func(*rule.Rule, []string) bool {
	return func(r *rule.Rule, about []string) bool { return names(r, about) && is(r) }
}

// mustAsk: the rule asks nothing else of the one measurand it names, and passed.
func mustAsk(questions ...string) func(*rule.Rule, outcome, []string) bool {
	return func(r *rule.Rule, was outcome, about []string) bool {
		return was.Outcome == finding.Pass && len(r.MeasurandNames()) == 1 && slices.Contains(about, r.MeasurandNames()[0]) &&
			!strings.Contains(r.File.Require, " or ") &&
			slices.ContainsFunc(questions, func(q string) bool { return strings.Contains(r.File.Require, q) })
	}
}

// speaksOf: the rule file has the statement.
func speaksOf(r *rule.Rule, about []string) bool {
	return slices.ContainsFunc(about, func(s string) bool { return bytes.Contains(r.Source, []byte(s)) })
}

// asksPresent: the rule asks for the presence of that one measurand, and passed.
func asksPresent(r *rule.Rule, was outcome, about []string) bool {
	return was.Outcome == finding.Pass && r.Kind == finding.Completeness && r.File.Present != nil && len(r.MeasurandNames()) == 1 && names(r, about)
}

// one chooses a measurand of which is holds; "" when there is none.
func (s *study) one(is func(measurand string, values []*node) bool) string {
	values := map[string][]*node{}
	for _, n := range s.numbers() {
		if n.measurand != "" {
			values[n.measurand] = append(values[n.measurand], n)
		}
	}
	var fit []string
	for _, m := range slices.Sorted(maps.Keys(values)) {
		if is(m, values[m]) {
			fit = append(fit, m)
		}
	}
	if len(fit) == 0 {
		return ""
	}
	return fit[s.random.IntN(len(fit))]
}

func subject(m string) []string {
	if m == "" {
		return nil
	}
	return []string{m}
}

// asksView: a rule that passes in the study asks for a view of the measurand.
func (b *bench) asksView(s *study, m string) bool {
	for name, was := range s.base.outcomes {
		r := b.rules[name]
		if was.Outcome == finding.Pass && names(r, []string{m}) && strings.Contains(r.File.Require, "imageView") {
			return true
		}
	}
	return false
}

// viewRemoved takes the view of every value of a measurand away.
func viewRemoved(b *bench, s *study) []string {
	lowered(b, s)
	m := s.one(func(m string, values []*node) bool {
		return slices.ContainsFunc(values, func(n *node) bool { return n.modifier(imageView) != nil }) && b.asksView(s, m)
	})
	for _, n := range s.numbers() {
		if n.measurand == m {
			n.children = slices.DeleteFunc(n.children, func(c *node) bool { return c.named(imageView) })
		}
	}
	return subject(m)
}

// leave keeps of one series with a mean only what is chosen.
func (s *study) leave(keep func(values []*node) []*node) []string {
	type place struct {
		c *node
		g []*node
	}
	var all []place
	for _, r := range s.reports {
		for _, c := range r.containers() {
			for _, g := range c.series() {
				if len(g) == s.base.counts[g[0].measurand] {
					all = append(all, place{c, g})
				}
			}
		}
	}
	if len(all) == 0 {
		return nil
	}
	at := all[s.random.IntN(len(all))]
	kept := keep(at.g)
	at.c.children = slices.DeleteFunc(at.c.children, func(n *node) bool { return slices.Contains(at.g, n) && !slices.Contains(kept, n) })
	return subject(at.g[0].measurand)
}

func beatRemoved(_ *bench, s *study) []string {
	return s.leave(func(values []*node) []*node { return values[1:] })
}

func beatsRemoved(_ *bench, s *study) []string {
	return s.leave(func(values []*node) []*node { return values[:1] })
}

func meansLeft(_ *bench, s *study) []string {
	return s.leave(func(values []*node) []*node {
		return slices.DeleteFunc(slices.Clone(values), func(n *node) bool { return !n.isMean() })
	})
}

// exchanged gives each of two opposite phases the name of the other.
func exchanged(point [2]string) func(*bench, *study) []string {
	return func(_ *bench, s *study) (about []string) {
		swap := map[string]string{
			"14910006": "58322009", "58322009": "14910006", "F-20010": "F-20020", "F-20020": "F-20010", // inspiration, expiration
			"416190007": "416430001", "416430001": "416190007", "R-FAB5C": "R-FAB5B", "R-FAB5B": "R-FAB5C", // end diastole, end systole
		}
		for _, n := range s.numbers() {
			if p := n.modifier(point); p != nil && swap[p.coded.value] != "" {
				p.coded.value = swap[p.coded.value]
				about = append(about, n.measurand)
			}
		}
		return about
	}
}

// statementRemoved takes out one text or code that was understood.
func statementRemoved(_ *bench, s *study) []string {
	at := slices.Sorted(maps.Keys(s.base.said))
	if len(at) == 0 {
		return nil
	}
	path := at[s.random.IntN(len(at))]
	var gone *node
	s.reports[0].paths("1", func(p string, n *node) {
		if p == path {
			gone = n
		}
	})
	s.reports[0].remove(func(n *node) bool { return n == gone })
	return s.base.said[path]
}

func measurandRemoved(_ *bench, s *study) []string {
	m := s.one(func(string, []*node) bool { return true })
	for _, r := range s.reports {
		r.remove(func(n *node) bool { return n.isNumber() && n.measurand == m })
	}
	return subject(m)
}

func tenfold(_ *bench, s *study) []string {
	m := s.one(func(_ string, values []*node) bool {
		return !slices.ContainsFunc(values, func(n *node) bool { return shift(n.number, 1) == "" })
	})
	for _, n := range s.numbers() {
		if n.measurand == m {
			n.number = shift(n.number, 1)
		}
	}
	return subject(m)
}

// TestSayingSomethingElseChangesTheRulesItIsAbout alters the shared studies.
func TestSayingSomethingElseChangesTheRulesItIsAbout(t *testing.T) {
	b := newBench(t)
	count, each := 26, 13
	if *full {
		count, each = 104, 300
	}
	bases := b.newBases(t, count)
	unexpected := map[string]int{}
	for _, a := range alterations() {
		studies, effective := 0, 0
		for i := range each {
			s := bases[i%count].study(uint64(i))
			about := a.apply(b, s)
			if about == nil {
				continue
			}
			studies++
			list, protocols := b.changes(t, s)
			list = slices.DeleteFunc(list, change.onlyCauses)
			changed := map[string]change{}
			for _, c := range list {
				changed[c.rule] = c
				if r := b.rules[c.rule]; !a.may(r, about) && !speaksOf(r, protocols) {
					unexpected[fmt.Sprintf("%s (%v): %v", a.name, about, c)]++
				}
			}
			if len(list) > 0 {
				effective++
			}
			if a.must == nil {
				continue
			}
			for name, was := range s.base.outcomes {
				if c, is := changed[name]; a.must(b.rules[name], was, about) && (!is || a.becomes != nil && !a.becomes(c)) {
					t.Errorf("%s (%v): %s stays %v, now %v: %v", a.name, about, name, was, c.to, s.base)
				}
			}
		}
		t.Logf("%s: %d studies, in %d of them a rule changed", a.name, studies, effective)
		if studies == 0 || effective*100 < a.atLeast*studies {
			t.Errorf("%s: only %d of %d studies come to something else", a.name, effective, studies)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(unexpected)) {
		t.Errorf("%s, which is not about it (%d studies)", key, unexpected[key])
	}
}
