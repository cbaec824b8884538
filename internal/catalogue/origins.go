package catalogue

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"echotally/internal/library"
	"echotally/internal/rule"
)

// By these words a locator says that nobody opened the place, or that it was
// read where somebody quotes it.
var (
	unseen = []string{"from memory", "not seen"}
	second = []string{"as quoted", "in an excerpt", "secondary summary"}
)

// standing is how sure the origin of a number is.
type standing string

const (
	published    standing = "published"
	quoted       standing = "published, read where it is quoted"
	publishedNot standing = "published, the place not seen"
	practice     standing = "common practice"
	choice       standing = "site choice"
	memory       standing = "from memory"
)

// standings in the order in which they are listed.
var standings = []standing{published, quoted, publishedNot, practice, choice, memory}

// number is one number of a rule with its origin.
type number struct {
	rule                        *rule.Rule
	name, value, unit, origin   string
	sex, edition, documentation string
}

// numbersOf are all numbers of a rule, each case by itself.
func numbersOf(r *rule.Rule) []number {
	var out []number
	for _, name := range slices.Sorted(maps.Keys(r.File.Parameters)) {
		p := r.File.Parameters[name]
		one := number{rule: r, name: name, value: string(p.Value), unit: p.Unit, origin: p.Origin, documentation: p.Documentation}
		if p.Value != "" {
			out = append(out, one)
		}
		for _, c := range p.Cases {
			k := one
			k.value, k.sex, k.edition = string(c.Value), c.Sex, string(c.Edition)
			if c.Origin != "" {
				k.origin = c.Origin
			}
			out = append(out, k)
		}
	}
	return out
}

// standing says how sure the origin is. A work counts as seen when one of the
// places that the rule names of it was.
func (n number) standing() standing {
	switch n.origin {
	case string(practice), string(choice), string(memory):
		return standing(n.origin)
	}
	best := publishedNot
	named := false
	for _, a := range n.rule.File.RelatedArtifact {
		if a.Label != n.origin {
			continue
		}
		named = true
		switch {
		case says(a.Locator, unseen):
		case says(a.Locator, second):
			best = quoted
		default:
			return published
		}
	}
	if !named { // a reference table or protocol; its own page says more
		return published
	}
	return best
}

func says(locator string, words []string) bool {
	return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(locator, w) })
}

// pageOrigins counts where the numbers of the rules come from, and lists those
// that still want a source.
func pageOrigins(w io.Writer, set *library.Library, rules []*rule.Rule) {
	count, wanting, all := map[standing]int{}, []number{}, 0
	for _, r := range rules {
		for _, n := range numbersOf(r) {
			s := n.standing()
			count[s]++
			all++
			if s == memory || s == publishedNot {
				wanting = append(wanting, n)
			}
		}
	}
	fmt.Fprintf(w, "## origins\n\nWhere the %d numbers of the rules come from, each case of a number by itself.\n\n| origin | numbers | share |\n| --- | --: | --: |\n", all)
	for _, s := range standings {
		fmt.Fprintf(w, "| %s | %d | %.1f %% |\n", s, count[s], 100*float64(count[s])/float64(max(all, 1)))
	}
	fmt.Fprintf(w, "\nNumbers whose source nobody has opened:\n\n| rule | number | origin |\n| --- | --- | --- |\n")
	for _, n := range wanting {
		fmt.Fprintf(w, "| %s | %s = %s %s | %s |\n", n.rule.File.Identifier, markdown(n.name), n.value, markdown(n.unit), markdown(n.origin))
	}
	fmt.Fprintf(w, "\nRepeatability of measurands, as published:\n\n| measurand | value | kind | source |\n| --- | --: | --- | --- |\n")
	for _, m := range set.Measurands.Measurands {
		if p := m.Repeatability; p != nil {
			fmt.Fprintf(w, "| %s | %v %s | %s | %s |\n", m.Identifier, p.Value, markdown(p.Unit.Code()), p.Kind, markdown(p.Source))
		}
	}
}

// pageEditions lists each number that depends on the edition of the guidelines,
// beside that of the edition which judges where it gives none.
func pageEditions(w io.Writer, rules []*rule.Rule) {
	fmt.Fprintf(w, "## editions\n\nEach number that depends on the guideline edition. Where an edition gives none, that of %s judges; why that is so, and how far\neach edition reaches, stands in rules/README.md.\n\n| rule | quantity | edition | value | source | seen |\n| --- | --- | --- | --- | --- | --- |\n", rule.DefaultEdition)
	for _, r := range rules {
		of := map[string]bool{}
		for name, p := range r.File.Parameters {
			of[name] = len(r.File.AppliesTo.Edition) > 0 || slices.ContainsFunc(p.Cases, func(c rule.CaseAsWritten) bool { return c.Edition != "" })
		}
		for _, n := range numbersOf(r) {
			if !of[n.name] {
				continue
			}
			edition, value := n.edition, n.value+" "+n.unit
			switch {
			case edition != "":
			case len(r.File.AppliesTo.Edition) > 0:
				edition = strings.Join(r.File.AppliesTo.Edition, ", ")
			default:
				edition = rule.DefaultEdition
			}
			if n.sex != "" {
				value += ", " + n.sex
			}
			seen := map[standing]string{published: "yes", quoted: "where it is quoted", publishedNot: "no", memory: "no"}[n.standing()]
			fmt.Fprintf(w, "| %s | %s | %s | %s | %s | %s |\n", r.File.Identifier, markdown(n.name), edition, markdown(value), markdown(n.origin), seen)
		}
	}
}
