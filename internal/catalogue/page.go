package catalogue

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"echotally/internal/library"

	"echotally/internal/reference"
	"echotally/internal/rule"
)

// Page writes the catalogue of all rules as one page of Markdown.
func Page(w io.Writer, set *library.Library) error {
	b := bufio.NewWriter(w)
	index(b, set, func(structure string) string { return "#" + structure })
	for _, s := range structures(All(set)) {
		fmt.Fprintln(b)
		s.page(b)
	}
	for _, p := range appendices(set) {
		fmt.Fprintln(b)
		if err := p.write(b); err != nil {
			return err
		}
	}
	return b.Flush()
}

// Pages gives the same as several pages by file name: the index CATALOGUE.md,
// and below catalogue/ one page for each structure and each appendix. The files
// in the rules folder are these; a test compares them.
func Pages(set *library.Library) (map[string][]byte, error) {
	out := map[string][]byte{}
	var b bytes.Buffer
	index(&b, set, func(structure string) string { return "catalogue/" + structure + ".md" })
	out["CATALOGUE.md"] = bytes.Clone(b.Bytes())
	for _, s := range structures(All(set)) {
		b.Reset()
		s.page(&b)
		out["catalogue/"+s.name+".md"] = bytes.Clone(b.Bytes())
	}
	for _, p := range appendices(set) {
		b.Reset()
		if err := p.write(&b); err != nil {
			return nil, err
		}
		out["catalogue/"+p.name+".md"] = bytes.Clone(b.Bytes())
	}
	return out, nil
}

// index lists the structures with the number of their rules, and what else there
// is.
func index(w io.Writer, set *library.Library, link func(page string) string) {
	rules := All(set)
	fmt.Fprintf(w, "# Catalogue of rules\n\nGenerated from the rule files; do not edit. %d rules by structure:\n\n", len(rules))
	fmt.Fprintf(w, "| structure | error | warning | note | total |\n| --- | --: | --: | --: | --: |\n")
	for _, s := range structures(rules) {
		n := map[string]int{}
		for _, r := range s.rules {
			n[r.Severity.Word()]++
		}
		fmt.Fprintf(w, "| [%s](%s) | %d | %d | %d | %d |\n", s.name, link(s.name), n["error"], n["warning"], n["note"], len(s.rules))
	}
	fmt.Fprintf(w, "\nFurther:\n\n")
	for _, p := range appendices(set) {
		fmt.Fprintf(w, "- [%s](%s): %s\n", p.name, link(p.name), p.about)
	}
}

// appendix is a page about something other than the rules of a structure.
type appendix struct {
	name, about string
	write       func(w io.Writer) error
}

func appendices(set *library.Library) []appendix {
	rules := All(set)
	sure := func(write func(w io.Writer)) func(io.Writer) error {
		return func(w io.Writer) error { write(w); return nil }
	}
	return []appendix{
		{"protocols", "the kinds of study and how each is told", sure(func(w io.Writer) { pageProtocols(w, set.Protocols, rules) })},
		{"relations", "what the joint reconciliation balances", sure(func(w io.Writer) { pageRelations(w, set.Relations) })},
		{"reference-tables", "by which z-scores are computed again", sure(func(w io.Writer) { pageReferences(w, set.References.Tables) })},
		{"formulas", "the functions that rules may use", pageFormulas},
		{"origins", "where the numbers come from, how many of each kind, and which want a source", sure(func(w io.Writer) { pageOrigins(w, set, rules) })},
		{"editions", "the numbers that depend on the guideline edition", sure(func(w io.Writer) { pageEditions(w, rules) })},
		{"by-guideline", "all rules by the guideline or paper they rest on", sure(func(w io.Writer) { pageSources(w, rules) })},
	}
}

// pageProtocols lists the kinds of study, how each is told, and how many rules
// are asked of it alone.
func pageProtocols(w io.Writer, protocols []*rule.Protocol, rules []*rule.Rule) {
	fmt.Fprintf(w, "## protocols\n\nOne kind of study holds for every study, tried in this order, what the record declares before what it lets infer; the\nothers are added where their reason holds.\n")
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
	fmt.Fprintf(w, "## relations\n\nThe reconciliation takes a study's redundant measurements together by these %d relations.\n\n", len(relations))
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
	fmt.Fprintf(w, "## reference-tables\n\nA z-score is computed again from the table it names; y is the quantity, s the body surface area in m².\n\n")
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
	fmt.Fprintf(w, "## by-guideline\n\nEvery guideline, paper, standard or other origin, with the rules that name it.\n\n| label | work | rules |\n| --- | --- | --- |\n")
	for _, label := range slices.Sorted(maps.Keys(by)) {
		fmt.Fprintf(w, "| %s | %s | %d: %s |\n", markdown(label), markdown(cited[label]), len(by[label]), strings.Join(by[label], ", "))
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

// page writes the rules of a structure as a table, one rule to a line.
func (s structure) page(w io.Writer) {
	fmt.Fprintf(w, "## %s\n\n| rule | must hold | why, and what to do | numbers and sources |\n| --- | --- | --- | --- |\n", s.name)
	for _, r := range s.rules {
		f := r.File
		_, name, _ := strings.Cut(f.Identifier, "/")
		about := r.Severity.Word() + ", " + f.Kind + ", " + f.Version
		if f.Status != "active" {
			about += ", " + f.Status
		}
		cell(w, "**"+name+"**", markdown(f.Title), about)
		var must, why, rests []string
		for _, p := range paragraphs(r) {
			switch p.label {
			case "Must hold", "A person must look when":
				must = append(must, p.label+": "+code(p.text))
			case "Why", "What to do", "When it is wrong to complain":
				why = append(why, p.label+": "+markdown(p.text))
			default:
				must = append(must, p.label+": "+markdown(p.text))
			}
		}
		for _, line := range parameterLines(r, "") {
			rests = append(rests, markdown(line))
		}
		for _, a := range f.RelatedArtifact {
			rests = append(rests, "Source: "+markdown(strings.TrimSuffix(a.Label+", "+a.Locator, ", ")))
		}
		cell(w, must...)
		cell(w, why...)
		cell(w, rests...)
		fmt.Fprintln(w, "|")
	}
}

// cell writes one cell of a table, its parts on lines of their own.
func cell(w io.Writer, parts ...string) { fmt.Fprintf(w, "| %s ", strings.Join(parts, "<br>")) }

// code is an expression as it stands in a table.
func code(text string) string {
	return "`" + strings.ReplaceAll(strings.Join(strings.Fields(text), " "), "|", `\|`) + "`"
}

// markdown keeps a text on one line and its signs from being taken for markup.
func markdown(text string) string {
	return strings.NewReplacer("_", `\_`, "*", `\*`, "|", `\|`, "<", `\<`).Replace(strings.Join(strings.Fields(text), " "))
}
