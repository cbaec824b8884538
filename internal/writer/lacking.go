package writer

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/layout"
)

// What could not be told, and why, is said by what it lacks: one line for all
// checks that lack the same.

// codeLine is a value under an unknown code, and what it may be.
type codeLine struct {
	Code, Value, Perhaps string
	Checks               int // that wait for it
}

// codes lists the values under unknown codes that may be what open checks lack.
func (b *sheetBuilder) codes(open []*finding.Result) []codeLine {
	if b.measurands == nil {
		return nil
	}
	var out []codeLine
	for i := range b.study.Study.Measurements {
		m := &b.study.Study.Measurements[i]
		if m.Measurand != "" || m.Role != echo.Result || m.Quantity == nil || m.Superseded || m.DuplicateOf != nil {
			continue
		}
		for _, likely := range b.measurands.Likely(m) {
			waits := func(r *finding.Result) bool { return lacks(r, likely.Identifier) }
			if n := count(open, waits); n > 0 {
				c := m.ConceptName
				out = append(out, codeLine{
					Code:  b.withhold.From(c.CodeMeaning) + " (" + c.CodingSchemeDesignator + ":" + c.CodeValue + ")",
					Value: withUnit(rounded(m.Quantity.Value.Rat()), unitWord(m.Quantity.Unit.Code())), Perhaps: likely.Title, Checks: n,
				})
				b.coded[likely.Identifier] = true
			}
		}
	}
	return out
}

// lacks reports whether a result is open for want of the measurand alone.
func lacks(r *finding.Result, measurand string) bool {
	return slices.ContainsFunc(r.Missing, func(m finding.Missing) bool { return m.Measurand == measurand })
}

func count[T any](list []T, is func(T) bool) int {
	n := 0
	for _, x := range list {
		if is(x) {
			n++
		}
	}
	return n
}

// String is the line in words.
func (l codeLine) String() string {
	return fmt.Sprintf("%s %s: perhaps %s; %s for it.", l.Code, l.Value, l.Perhaps, layout.CountOf(l.Checks, "check waits", "checks wait"))
}

// openLines say what could not be checked, by why not.
func (b *sheetBuilder) openLines(open []*finding.Result) []string {
	type group struct {
		reason  string
		lacking []string
		checks  int
	}
	var groups []*group
	for _, r := range open {
		if len(r.Missing) > 0 && !slices.ContainsFunc(r.Missing, func(m finding.Missing) bool { return !b.coded[m.Measurand] }) {
			continue // it waits for a code, which is said
		}
		reason, lacking := r.Message, []string(nil)
		for i, m := range r.Missing {
			if i == 0 {
				reason = m.Reason
			}
			lacking = append(lacking, b.lacking(m))
		}
		at := slices.IndexFunc(groups, func(g *group) bool { return g.reason == reason })
		if at < 0 {
			at = len(groups)
			groups = append(groups, &group{reason: reason})
		}
		g := groups[at]
		g.checks++
		for _, l := range lacking {
			if !slices.Contains(g.lacking, l) {
				g.lacking = append(g.lacking, l)
			}
		}
	}
	var out []string
	for _, g := range groups {
		text := g.reason
		if len(g.lacking) > 0 {
			text = strings.Join(g.lacking, ", ") + ": " + g.reason
		}
		out = append(out, fmt.Sprintf("%s (%s)", b.withhold.From(text), layout.Count(g.checks, "check")))
	}
	return out
}

// lacking names an input that is not there, shortly where it is a measurand.
func (b *sheetBuilder) lacking(m finding.Missing) string {
	if d := find(b.measurands, m.Measurand); d != nil {
		return d.Short
	}
	return m.Title
}

// excused says in one line what is absent with the reason recorded, by reason.
func (b *sheetBuilder) excused(all []finding.Result) string {
	var reasons []string
	absent := map[string][]string{}
	for i := range all {
		r := &all[i]
		if r.Outcome != finding.Excused {
			continue
		}
		why := b.withhold.From(strings.TrimSuffix(strings.TrimPrefix(r.Message, excusedBy), "."))
		if absent[why] == nil {
			reasons = append(reasons, why)
		}
		names := []string{lowerFirst(r.Title)}
		if len(r.Missing) > 0 {
			names = nil
		}
		for _, m := range r.Missing {
			names = append(names, b.lacking(m))
		}
		for _, name := range names {
			if !slices.Contains(absent[why], name) {
				absent[why] = append(absent[why], name)
			}
		}
	}
	var out []string
	for _, why := range reasons {
		out = append(out, strings.Join(absent[why], ", ")+" (“"+why+"”)")
	}
	return strings.Join(out, "; ")
}

// excusedBy begins the message of what is absent with a reason.
const excusedBy = "absent, with the reason recorded: "
