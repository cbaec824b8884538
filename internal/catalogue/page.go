package catalogue

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"echotally/internal/rule"
)

// Page writes the catalogue of all rules as Markdown. The file in the rules
// folder is its output; a test compares the two.
func Page(w io.Writer, set *rule.Set) error {
	b := bufio.NewWriter(w)
	rules := All(set)
	fmt.Fprintf(b, "# Catalogue of rules\n\nGenerated from the rule files by `echotally rules catalogue`; do not edit. %d rules.\n\n", len(rules))
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
	return b.Flush()
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
