// Package unmatched owns codes of measurements that no measurand knows: how often each
// came, what it may mean, and the draft of a site file in which a person chooses.
package unmatched

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/measurand"
)

// Code is a code that no measurand knows, under the modifiers that may
// make it another quantity.
type Code struct {
	Example     echo.Measurement // the first one met
	Count       int
	Suggestions []measurand.Suggestion // best first
}

// Tally collects unmatched codes over any number of studies.
type Tally struct {
	catalogue *measurand.Catalogue
	found     map[string]*Code
}

// NewTally returns an empty tally.
func NewTally(c *measurand.Catalogue) *Tally { return &Tally{catalogue: c, found: map[string]*Code{}} }

// Add counts the measurements that have no measurand. Inputs, limits and
// statistics are no findings and exact duplicates no second value: neither is
// counted.
func (t *Tally) Add(measurements []echo.Measurement) {
	for i := range measurements {
		m := &measurements[i]
		if m.Measurand != "" || m.DuplicateOf != nil || m.Role != echo.Result && m.Role != echo.NestedResult {
			continue
		}
		key := measurand.SameCode(m)
		if t.found[key] == nil {
			t.found[key] = &Code{Example: *m}
		}
		t.found[key].Count++
	}
}

// Codes lists them, most frequent first, with at most n suggestions
// each.
func (t *Tally) Codes(n int) []Code {
	keys := make([]string, 0, len(t.found))
	for k := range t.found {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		return cmp.Or(cmp.Compare(t.found[b].Count, t.found[a].Count), strings.Compare(a, b))
	})
	out := make([]Code, 0, len(keys))
	for _, k := range keys {
		u := *t.found[k]
		u.Suggestions = t.catalogue.Suggest(&u.Example, n)
		out = append(out, u)
	}
	return out
}

const draftHead = `# Draft of a site file: codes of your reports that no measurand knows.
# Save it as measurand/NAME.yaml below the folder you give with --rules. Below each code stand the measurands it may mean,
# best first, none that is unsure. Keep the right one by removing "# " before its "- ", or write another identifier there. What stays behind
# "# " does nothing. "echotally rules export DIR" writes out the measurand files, which say what each name stands for.
`

// DraftSite writes the text of a site measurand file in which every unmatched
// code waits, commented out, for a person to choose.
func DraftSite(c *measurand.Catalogue, w io.Writer, list []Code) error {
	var b strings.Builder
	b.WriteString(draftHead)
	for i := range list {
		draft(&b, c, i+1, &list[i])
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("draft of a site file: %w", err)
	}
	return nil
}

func draft(b *strings.Builder, c *measurand.Catalogue, number int, u *Code) {
	m := &u.Example
	times := fmt.Sprintf("%d times", u.Count)
	if u.Count == 1 {
		times = "once"
	}
	fmt.Fprintf(b, "\n# %d. %s, %s", number, oneLine(m.ConceptName.String()), times)
	for _, detail := range [][2]string{
		{"for example", strings.TrimSpace(m.ValueText + " " + m.Unit.CodeValue)}, {"label", m.ShortLabel},
		{"section", m.Section}, {"made by", m.Equipment.Manufacturer},
	} {
		if detail[1] != "" {
			fmt.Fprintf(b, "; %s %s", detail[0], oneLine(detail[1]))
		}
	}
	b.WriteString("\n")
	conditions, remarks := draftConditions(c, m)
	for _, r := range remarks {
		b.WriteString("#    " + r + "\n")
	}
	if conditions == "" {
		return
	}
	proposed := 0
	for _, s := range u.Suggestions {
		if s.Confidence != measurand.Unsure {
			proposed++
			fmt.Fprintf(b, "# - {identifier: %s, codings: [{%s}]}  # %s, %.2f: %s\n", s.Measurand.Identifier, conditions, s.Confidence, s.Score, oneLine(s.Why))
		}
	}
	if proposed == 0 {
		fmt.Fprintf(b, "# - {identifier: WRITE-IT-HERE, codings: [{%s}]}\n", conditions)
	}
}

// draftConditions gives the coding that fits the measurement, "" when it has no
// code to go by.
func draftConditions(c *measurand.Catalogue, m *echo.Measurement) (conditions string, remarks []string) {
	key := m.ConceptName.Key()
	if key.CodeValue == "" || key.CodingSchemeDesignator == "" {
		return "", []string{"no code value or no scheme: it cannot be told by its code; ask the maker of the device"}
	}
	if m.AdHoc && m.ShortLabel == "" {
		return "", []string{"an ad hoc measurement without a label says what property was measured but not of what"}
	}
	parts := []string{"conceptName: " + quoted(key.String())}
	if measurand.IsPrivate(key) {
		if m.Equipment.Manufacturer == "" {
			remarks = append(remarks, "private code, but the file does not name the manufacturer: another maker may use the same code otherwise")
		} else {
			parts = append(parts, "manufacturer: "+quoted(m.Equipment.Manufacturer))
		}
	}
	if m.AdHoc {
		parts = append(parts, "shortLabel: "+quoted(m.ShortLabel))
	}
	for _, f := range measurand.Telling() {
		x := measurand.ModifierOf(&m.Modifiers, f)
		if x == nil {
			continue
		}
		if t := c.Terms.Of(f, x.Concept.Key()); t != nil {
			parts = append(parts, string(f)+": "+t.Name)
		} else {
			remarks = append(remarks, fmt.Sprintf("%s %s has no term: add one to terms.yaml to tell it apart", f, oneLine(x.Concept.String())))
		}
	}
	return strings.Join(append(parts, "source: site choice"), ", "), remarks
}

// quoted writes a YAML string in double quotes; what JSON-like escapes cannot
// say in YAML is dropped.
func quoted(s string) string { return strconv.Quote(strings.ToValidUTF8(oneLine(s), "")) }

// oneLine keeps a text from a file inside its comment line.
func oneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == 0x85 || r == 0x2028 || r == 0x2029 || r == 0xfeff {
			return ' '
		}
		return r
	}, s)
}
