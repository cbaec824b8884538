package catalogue

import (
	"bufio"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"echotally/internal/library"

	"echotally/internal/reference"
	"echotally/internal/rule"
)

// Page writes the catalogue of all rules as Markdown. The file in the rules
// folder is its output; a test compares the two.
func Page(w io.Writer, set *library.Library) error {
	b := bufio.NewWriter(w)
	rules := All(set)
	fmt.Fprintf(b, "# Catalogue of rules\n\nGenerated from the rule files by `echotally rules catalogue`; do not edit. %d rules by\nstructure, then the [protocols](#protocols), the [relations](#relations) of the reconciliation, the\n[reference tables](#reference-tables) of z-scores, the [formulas](#formulas),\nand all rules [by guideline](#by-guideline).\n\n", len(rules))
	fmt.Fprintf(b, "| structure | error | warning | information | total |\n| --- | --: | --: | --: | --: |\n")
	for _, s := range structures(rules) {
		n := map[string]int{}
		for _, r := range s.rules {
			n[r.File.Severity]++
		}
		fmt.Fprintf(b, "| [%s](#%s) | %d | %d | %d | %d |\n", s.name, s.name, n["error"], n["warning"], n["information"], len(s.rules))
	}
	for _, s := range structures(rules) {
		fmt.Fprintf(b, "\n## %s\n", s.name)
		for _, r := range s.rules {
			pageEntry(b, r)
		}
	}
	pageProtocols(b, set.Protocols, rules)
	pageRelations(b, set.Relations)
	pageReferences(b, set.References.Tables)
	if err := pageFormulas(b); err != nil {
		return err
	}
	pageSources(b, rules)
	return b.Flush()
}

// pageProtocols lists the kinds of study, how each is told, and how many rules
// are asked of it alone.
func pageProtocols(w io.Writer, protocols []*rule.Protocol, rules []*rule.Rule) {
	fmt.Fprintf(w, "\n## Protocols\n\nOne kind of study holds for every study, tried in this order, what the record declares before what it lets infer; the\nothers are added where their reason holds.\n")
	for _, p := range protocols {
		role := "added"
		if p.Base {
			role = "kind of study"
		}
		fmt.Fprintf(w, "\n### Protocol %s\n\n**%s** (%s)\n\n", p.Identifier, markdown(p.Title), role)
		if len(p.DeclaredBy) > 0 {
			fmt.Fprintf(w, "- Declared by: %s\n", markdown(strings.Join(said(p.DeclaredBy), ", ")))
		}
		for _, r := range p.Because {
			words := r.Text
			for _, in := range r.When.Inputs {
				if s := p.Reading.Statements[in.Name]; s != nil {
					words += " any of: " + strings.Join(said([]*rule.Said{s}), ", ")
				}
			}
			fmt.Fprintf(w, "- Inferred when: `%s` (%s)\n", strings.Join(strings.Fields(r.When.Source), " "), markdown(words))
		}
		if len(p.Unless) > 0 {
			fmt.Fprintf(w, "- Not inferred with: %s\n", markdown(strings.Join(said(p.Unless), ", ")))
		}
		for _, line := range parameterLines(p.Reading, "") {
			fmt.Fprintf(w, "- Number: %s\n", markdown(line))
		}
		for _, a := range p.Sources {
			fmt.Fprintf(w, "- Source: %s\n", markdown(a.String()))
		}
		n := 0
		for _, r := range rules {
			if slices.Contains(r.File.AppliesTo.Protocol, p.Identifier) {
				n++
			}
		}
		fmt.Fprintf(w, "- Rules for it: %d\n", n)
	}
}

// said are statements in words.
func said(list []*rule.Said) []string {
	var out []string
	for _, s := range list {
		for _, d := range s.Definitions {
			out = append(out, d.Title)
		}
	}
	return out
}

// pageRelations lists what the joint reconciliation balances.
func pageRelations(w io.Writer, relations []*rule.Relation) {
	fmt.Fprintf(w, "\n## Relations\n\nThe reconciliation takes a study's redundant measurements together by these %d relations.\n\n", len(relations))
	for _, r := range relations {
		var sources []string
		for _, a := range r.Sources {
			sources = append(sources, a.String())
		}
		fmt.Fprintf(w, "- **%s**: %s. `%s`. %s\n", r.Identifier, markdown(r.Title), strings.Join(strings.Fields(r.Equation), " "), markdown(strings.Join(sources, "; ")))
	}
}

// pageReferences lists the tables that z-scores are computed again from.
func pageReferences(w io.Writer, tables []*reference.Table) {
	fmt.Fprintf(w, "\n## Reference tables\n\nA z-score is computed again from the table it names; y is the quantity, s the body surface area in m².\n\n")
	for _, t := range tables {
		var of []string
		for _, v := range t.Values {
			of = append(of, v.Measurand.Identifier)
		}
		fmt.Fprintf(w, "- **%s**, named by %s: %s. `%s`. %s; %s. Numbers: %s. Of %s.\n", t.Identifier, markdown(strings.Join(t.Names, ", ")), markdown(t.Population), t.Form.Text,
			markdown(t.Citation), markdown(t.Locator), markdown(t.Origin), strings.Join(of, ", "))
	}
}

// pageSources lists the rules by the guideline or paper they rest on.
func pageSources(w io.Writer, rules []*rule.Rule) {
	cited, by := map[string]string{}, map[string][]string{}
	for _, r := range rules {
		for _, a := range r.File.RelatedArtifact {
			label := a.Label
			if a.Citation != "" {
				cited[label] = a.Citation
			}
			// A rule may cite two places of one source.
			if id := r.File.Identifier; !slices.Contains(by[label], id) {
				by[label] = append(by[label], id)
			}
		}
	}
	fmt.Fprintf(w, "\n## By guideline\n\nEvery guideline, paper, standard or other origin, with the rules that name it.\n")
	for _, label := range slices.Sorted(maps.Keys(by)) {
		fmt.Fprintf(w, "\n### %s\n\n", markdown(label))
		if c := cited[label]; c != "" {
			fmt.Fprintf(w, "%s\n\n", markdown(c))
		}
		fmt.Fprintf(w, "Rules (%d): %s\n", len(by[label]), strings.Join(by[label], ", "))
	}
}

type structure struct {
	name  string
	rules []*rule.Rule
}

// structures groups the rules by folder; they come sorted.
func structures(rules []*rule.Rule) []structure {
	var out []structure
	for _, r := range rules {
		name, _, _ := strings.Cut(r.File.Identifier, "/")
		if n := len(out); n == 0 || out[n-1].name != name {
			out = append(out, structure{name: name})
		}
		out[len(out)-1].rules = append(out[len(out)-1].rules, r)
	}
	return out
}

func pageEntry(w io.Writer, r *rule.Rule) {
	f := r.File
	fmt.Fprintf(w, "\n### %s\n\n**%s**\n\n%s, %s, %s, version %s\n\n", f.Identifier, markdown(f.Title), f.Kind, f.Severity, f.Status, f.Version)
	for _, p := range paragraphs(r) {
		text := markdown(p.text)
		if p.label == "Must hold" || p.label == "A person must look when" {
			text = "`" + strings.Join(strings.Fields(p.text), " ") + "`"
		}
		fmt.Fprintf(w, "- %s: %s\n", p.label, text)
	}
	for _, line := range parameterLines(r, "") {
		fmt.Fprintf(w, "- Number: %s\n", markdown(line))
	}
	for _, a := range f.RelatedArtifact {
		fmt.Fprintf(w, "- Source: %s\n", markdown(a.String()))
	}
	var examples []string
	for _, e := range f.Examples {
		examples = append(examples, fmt.Sprintf("%s (%s)", markdown(e.Title), e.Outcome))
	}
	fmt.Fprintf(w, "- Examples: %s\n", strings.Join(examples, "; "))
}

// markdown keeps a text on one line and its signs from being taken for markup.
func markdown(text string) string {
	return strings.NewReplacer("_", `\_`, "*", `\*`, "|", `\|`, "<", `\<`).Replace(strings.Join(strings.Fields(text), " "))
}
