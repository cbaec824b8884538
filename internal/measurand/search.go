package measurand

import (
	"slices"
	"strings"

	"echotally/internal/measurand/wording"
)

// Search gives the measurands that words lead to, in their order: the words begin a
// word of identifier, title or short name, or are one of the codes; or each of them,
// abbreviations written out, is in title or short name. No words lead to all.
func (c *Catalogue) Search(words string) []*Measurand {
	if words = strings.TrimSpace(words); words == "" {
		return c.Measurands
	}
	asked, written := inRow(words), c.lexicon().Words(words)
	var out []*Measurand
	for _, m := range c.Measurands {
		if asked != " " && strings.Contains(inRow(m.Identifier, m.Title, m.Short), asked) || m.coded(words) ||
			len(written) > 0 && len(wording.Without(written, c.wordsOf(m))) == 0 {
			out = append(out, m)
		}
	}
	return out
}

// Abbreviations lists those that stand for several words, all of which are in title
// or short name of the measurand.
func (c *Catalogue) Abbreviations(m *Measurand) []string { return c.Terms.Abbreviations(c.wordsOf(m)) }

func (c *Catalogue) wordsOf(m *Measurand) []string {
	names := c.lexicon().names[m]
	return slices.Concat(names[0], names[1])
}

// inRow is the words of texts in lower case, each behind a space.
func inRow(texts ...string) string {
	return " " + strings.ToLower(strings.Join(wording.Tokens(strings.Join(texts, " ")), " "))
}

func (m *Measurand) coded(text string) bool {
	return slices.ContainsFunc(m.Codings, func(g Coding) bool {
		return strings.EqualFold(text, g.ConceptName.CodeValue) || strings.EqualFold(text, g.ConceptName.String())
	})
}
