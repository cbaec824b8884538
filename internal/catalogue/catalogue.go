// Package catalogue owns the rule set as people read it: the list, the page of
// one rule, the catalogue of all, the table of formulas, the skeleton of a new
// rule, and what changed between two sets. Everything is rendered from the
// rule files; nothing is said here that is not said there.
package catalogue

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"slices"
	"sort"
	"strings"

	"echotally/internal/datafile/written"
	"echotally/internal/library"

	"echotally/internal/rule"
)

// All returns running and resting rules together, by identifier.
func All(set *library.Library) []*rule.Rule {
	out := append(slices.Clone(set.Rules), set.Resting...)
	sort.Slice(out, func(i, j int) bool { return out[i].File.Identifier < out[j].File.Identifier })
	return out
}

// Filter chooses rules for the list; its empty fields choose all.
type Filter struct {
	Prefix    string // of the identifier
	Guideline string // part of a source or of a number's origin, in either case
}

func (f Filter) takes(r *rule.Rule) bool {
	if !strings.HasPrefix(r.File.Identifier, f.Prefix) {
		return false
	}
	var named []string
	for _, a := range r.File.RelatedArtifact {
		named = append(named, a.Label, a.Citation)
	}
	for _, p := range r.File.Parameters {
		named = append(named, p.Origin)
	}
	want := strings.ToLower(f.Guideline)
	return want == "" || slices.ContainsFunc(named, func(n string) bool { return strings.Contains(strings.ToLower(n), want) })
}

// List writes one line per rule that the filter takes, and returns how many
// there were.
func List(w io.Writer, set *library.Library, filter Filter) (int, error) {
	b := bufio.NewWriter(w)
	n := 0
	for _, r := range All(set) {
		f := r.File
		if !filter.takes(r) {
			continue
		}
		n++
		origin := ""
		if r.Site {
			origin = " (site)"
		}
		fmt.Fprintf(b, "%-7s %-12s %-7s %s\n%28s %s%s\n", r.Severity.Word(), f.Kind, f.Status, f.Identifier, f.Version, f.Title, origin)
	}
	return n, b.Flush()
}

// Show writes the page of one rule as text.
func Show(w io.Writer, r *rule.Rule) error {
	b := bufio.NewWriter(w)
	f := r.File
	fmt.Fprintf(b, "%s\n%s\n\n", f.Title, strings.Repeat("=", len([]rune(f.Title))))
	fmt.Fprintf(b, "%s %s, %s, %s, %s", f.Identifier, f.Version, f.Status, f.Kind, r.Severity.Word())
	if r.Site {
		fmt.Fprint(b, ", from a site folder")
	}
	fmt.Fprint(b, "\n\n")
	for _, p := range paragraphs(r) {
		wrap(b, p.label+": ", p.text)
	}
	if lines := parameterLines(r, "  "); len(lines) > 0 {
		fmt.Fprintln(b, "Numbers:")
		for _, line := range lines {
			wrap(b, "  ", strings.TrimSpace(line))
		}
	}
	fmt.Fprintln(b, "Sources:")
	for _, a := range f.RelatedArtifact {
		wrap(b, "  ", a.String())
	}
	fmt.Fprintln(b, "Examples:")
	for _, e := range f.AllExamples() {
		wrap(b, fmt.Sprintf("  %-13s ", e.Outcome), e.Title)
	}
	return b.Flush()
}

type paragraph struct{ label, text string }

// paragraphs are the parts of a rule in the order in which they are read.
func paragraphs(r *rule.Rule) []paragraph {
	f := r.File
	all := []paragraph{
		{"Why", f.Purpose}, {"What to do", f.Usage}, {"When it is wrong to complain", f.KnownLimits},
		{"For whom", appliesTo(f.AppliesTo)}, {"About", about(r)}, {"Must hold", demand(f)},
		{"A person must look when", f.Review}, {"Excused by", strings.Join(f.ExcusedBy, ", ")}, {"It says", f.Message},
	}
	return slices.DeleteFunc(all, func(p paragraph) bool { return strings.TrimSpace(p.text) == "" })
}

func about(r *rule.Rule) string {
	r.Prepare()
	var parts []string
	for _, name := range slices.Sorted(maps.Keys(r.Aliases)) {
		a := r.Aliases[name]
		var titles []string
		for _, m := range a.Measurands {
			titles = append(titles, m.Title)
		}
		text := name + " = " + strings.Join(titles, " or ")
		for _, m := range r.File.Measurands[name].Modifiers {
			text += fmt.Sprintf(" (%s: %s)", m.Field, strings.Join(m.Names, " or "))
		}
		parts = append(parts, text)
	}
	for _, name := range slices.Sorted(maps.Keys(r.Statements)) {
		var titles []string
		for _, d := range r.Statements[name].Definitions {
			titles = append(titles, d.Title)
		}
		parts = append(parts, name+" = stated: "+strings.Join(titles, " or "))
	}
	for _, name := range slices.Sorted(maps.Keys(r.Images)) {
		parts = append(parts, name+" = "+r.Images[name].Title())
	}
	return strings.Join(parts, "; ")
}

func appliesTo(a rule.Applicability) string {
	var parts []string
	add := func(label string, names rule.Names) {
		if len(names) > 0 {
			parts = append(parts, label+strings.Join(names, ", "))
		}
	}
	add("edition ", a.Edition)
	add("protocol ", a.Protocol)
	if a.Age != nil {
		parts = append(parts, "age "+bound(a.Age.Low, "from ")+bound(a.Age.High, " to "))
	}
	if a.Sex != "" {
		parts = append(parts, "sex "+a.Sex)
	}
	add("stated: ", a.Stated)
	add("unless stated: ", a.Unless)
	if a.When != "" {
		parts = append(parts, "when "+a.When)
	}
	return strings.Join(parts, "; ")
}

func bound(b *written.Bound, word string) string {
	if b == nil {
		return ""
	}
	return word + string(b.Value) + " " + b.Unit
}

func demand(f rule.File) string {
	switch {
	case f.Recompute != nil:
		var forms []string
		for _, form := range f.Recompute.From {
			forms = append(forms, fmt.Sprintf("%s (%s)", form.Value, form.Title))
		}
		text := f.Recompute.Stated + " can be reached by " + strings.Join(forms, " or ") + ", within the rounding of the numbers as written"
		if f.Recompute.Allowance != "" {
			text += " and " + f.Recompute.Allowance
		}
		return text
	case f.ZScore != nil:
		var forms []string
		for _, form := range f.ZScore.BodySurfaceArea {
			forms = append(forms, fmt.Sprintf("%s (%s)", form.Value, form.Title))
		}
		return "every z-score is what its table of reference values gives at the body surface area " + strings.Join(forms, " or ") + ", within the rounding of the numbers as written"
	case len(f.Forbid) > 0:
		return "no item of the record is: " + strings.Join(f.Forbid, ", ")
	}
	return f.Require
}

// parameterLines says each number of the rule with its unit and origin.
func parameterLines(r *rule.Rule, indent string) []string {
	var out []string
	for _, name := range slices.Sorted(maps.Keys(r.File.Parameters)) {
		p := r.File.Parameters[name]
		line := fmt.Sprintf("%s%s = %s %s (%s)", indent, name, p.Value, p.Unit, p.Origin)
		if p.Value == "" {
			line = fmt.Sprintf("%s%s in %s (%s)", indent, name, p.Unit, p.Origin)
		}
		for _, c := range p.Cases {
			var who []string
			if c.Sex != "" {
				who = append(who, "sex "+c.Sex)
			}
			if c.Age != nil {
				who = append(who, "age "+bound(c.Age.Low, "from ")+bound(c.Age.High, " to "))
			}
			if c.Edition != "" {
				who = append(who, "edition "+string(c.Edition))
			}
			line += fmt.Sprintf("; %s for %s", c.Value, strings.Join(who, ", "))
		}
		if p.Documentation != "" {
			line += ": " + p.Documentation
		}
		out = append(out, line)
	}
	return out
}

// wrap writes text after a label, with further lines indented by four.
func wrap(w io.Writer, label, text string) {
	const width = 96
	line, fresh := label, true
	for _, word := range strings.Fields(text) {
		if !fresh && len([]rune(line))+1+len([]rune(word)) > width {
			fmt.Fprintln(w, line)
			line, fresh = "    ", true
		}
		if !fresh {
			line += " "
		}
		line, fresh = line+word, false
	}
	fmt.Fprintln(w, line)
}
