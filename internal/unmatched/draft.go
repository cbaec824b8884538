package unmatched

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/term"
)

// Draft writes a measurand file for a site folder: one entry per code, under
// the measurand it most likely means. Codes that resemble nothing are left as
// comments, for only a person can say what they are.
func Draft(w io.Writer, codes []Code, terms *term.Catalogue) error {
	var b strings.Builder
	b.WriteString(`# Draft made by echotally codes. Nothing here is certain: keep an entry only when you know what the scanner
# means by the code, change the identifier where the guess is wrong, and delete the rest. Save the file as
# measurand/<name>.yaml in the site folder and give the folder with --rules.
`)
	shared := conceptsMetTwice(codes)
	for _, c := range codes {
		b.WriteString("\n")
		comment(&b, c)
		if len(c.Suggestions) == 0 {
			comments(&b, "resembles no known measurand; to name it: ", entry("identifier-of-the-measurand", c, shared, terms))
			continue
		}
		for i, s := range c.Suggestions {
			comments(&b, "", fmt.Sprintf("%s guess, score %.2f: %s (%s)\n", ordinal(i), s.Score, s.Measurand.Identifier, s.Why))
		}
		b.WriteString(entry(c.Suggestions[0].Measurand.Identifier, c, shared, terms))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func ordinal(i int) string { return []string{"first", "second", "third", "further"}[min(i, 3)] }

func comment(b *strings.Builder, c Code) {
	text := fmt.Sprintf("%s: met %d times in %d studies, e.g. %s", clean(c.Concept.CodeMeaning), c.Count, c.Studies, clean(c.Example))
	if c.ShortLabel != "" {
		text += ", label " + clean(c.ShortLabel)
	}
	if c.Section != "" {
		text += ", section " + clean(c.Section)
	}
	if c.Device != "" {
		text += ", sent by " + clean(c.Device)
	}
	comments(b, "", text+"\n")
}

func comments(b *strings.Builder, prefix, text string) {
	for i, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		if i == 0 {
			line = prefix + line
		}
		b.WriteString("# " + line + "\n")
	}
}

// entry writes one measurand with one coding. The modifiers are conditions
// only when the same concept was met with others too: a private code usually
// says everything by itself.
func entry(identifier string, c Code, shared map[coding.Key]bool, terms *term.Catalogue) string {
	fields := []string{"conceptName: " + quoted(c.Concept.CodingSchemeDesignator+":"+c.Concept.CodeValue)}
	if shared[c.Concept.Key()] {
		if c.ShortLabel != "" {
			fields = append(fields, "shortLabel: "+quoted(c.ShortLabel))
		}
		for _, m := range c.Modifiers {
			if t := terms.Of(m.Field, m.Concept.Key()); t != nil {
				fields = append(fields, fmt.Sprintf("%s: %s", m.Field, t.Name))
			}
		}
	}
	fields = append(fields, `source: "site choice"`)
	return fmt.Sprintf("- identifier: %s\n  codings:\n    - {%s}\n", identifier, strings.Join(fields, ", "))
}

func conceptsMetTwice(codes []Code) map[coding.Key]bool {
	seen, out := map[coding.Key]bool{}, map[coding.Key]bool{}
	for _, c := range codes {
		out[c.Concept.Key()] = out[c.Concept.Key()] || seen[c.Concept.Key()]
		seen[c.Concept.Key()] = true
	}
	return out
}

func quoted(s string) string { return strconv.Quote(s) }

// clean keeps foreign text on its comment line.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, s)
}
