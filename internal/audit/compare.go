package audit

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/finding"
	"echotally/internal/stats"
)

// Compare tells what another rule set changes: the rates, the rules, and the
// studies that fail something else than before. The two lists hold the same
// studies of the period in the same order.
func Compare(before, after []Study, opt Options) []Table {
	was, is := periodOf(before, opt), periodOf(after, opt)
	return []Table{rates(was, is, opt), changedRules(was, is), changedStudies(was, is)}
}

func periodOf(studies []Study, opt Options) []*Study {
	var out []*Study
	for i := range studies {
		if opt.Period.Holds(studies[i].Date) && (opt.Lab == "" || studies[i].Lab == opt.Lab) {
			out = append(out, &studies[i])
		}
	}
	slices.SortFunc(out, func(a, b *Study) int { return strings.Compare(a.UID, b.UID) })
	return out
}

func rates(was, is []*Study, opt Options) Table {
	t := Table{
		Identifier: "what-if-rates", Title: "What the other rules change: rates", Note: "The same studies judged twice: there is no sampling between the two, so the difference is exact.",
		Columns: []Column{
			column("measure", "Measure", Words, "identifier of the measure"), column("title", "In words", Words, "what is counted as met"),
			column("before", "Before", Share, "under the rules that judged so far"), column("after", "Under the other rules", Share, "under the rules compared"),
			column("moves", "Moves, points", Number, "difference in percentage points"),
		},
	}
	for _, m := range opt.Headlines() {
		a, b := m.over(was), m.over(is)
		t.add(words(m.Identifier), words(m.Title), share(a), share(b), number(moves(a, b)))
	}
	return t
}

func moves(a, b stats.Proportion) float64 { return 100 * (b.Value() - a.Value()) }

// needing are the rules of a study that need somebody to act, each with how
// grave it is, sorted.
func (s *Study) needing() []string {
	var out []string
	for r := range s.Results.All() {
		if r.Outcome == finding.Fail || r.Outcome == finding.Review {
			out = append(out, fmt.Sprintf("%s (%s)", r.Rule.Identifier, r.Severity))
		}
	}
	slices.Sort(out)
	return out
}

func changedRules(was, is []*Study) Table {
	t := Table{
		Identifier: "what-if-rules", Title: "What the other rules change: rules", Note: "Studies in which a rule fails or asks a person to look, where that number changes.",
		Columns: []Column{
			column("rule", "Rule", Words, "identifier and severity"), column("before", "Before", Count, "studies before"), column("after", "Under the other rules", Count, "studies under the other rules"),
			column("moves", "Moves", Number, "difference in studies"),
		},
	}
	counts := map[string]*[2]int{}
	for k, list := range [][]*Study{was, is} {
		for _, s := range list {
			for _, rule := range s.needing() {
				if counts[rule] == nil {
					counts[rule] = new([2]int)
				}
				counts[rule][k]++
			}
		}
	}
	for _, name := range sortedNames(counts) {
		if c := counts[name]; c[0] != c[1] {
			t.add(words(name), count(c[0]), count(c[1]), number(float64(c[1]-c[0])))
		}
	}
	return t
}

func changedStudies(was, is []*Study) Table {
	t := Table{
		Identifier: "what-if-studies", Title: "What the other rules change: studies", Note: "Studies that fail, or ask to be looked at by, other rules than before.",
		Columns: []Column{
			column("study", "Study", Words, "Study Instance UID"), column("date", "Date", Words, "study date"),
			column("new", "New", Words, "rules that fail now"), column("gone", "Gone", Words, "rules that fail no more"),
		},
	}
	old := map[string][]string{}
	for _, s := range was {
		old[s.UID] = s.needing()
	}
	for _, s := range is {
		before, now := old[s.UID], s.needing()
		fresh, gone := without(now, before), without(before, now)
		if len(fresh)+len(gone) > 0 {
			t.add(words(s.UID), words(date(s.Date)), words(list(fresh)), words(list(gone)))
		}
	}
	t.Note += fmt.Sprintf(" %d of %d studies.", len(t.Rows), len(is))
	return t
}

func without(list, other []string) []string {
	return slices.DeleteFunc(slices.Clone(list), func(s string) bool { return slices.Contains(other, s) })
}
