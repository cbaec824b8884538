package measurand

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/term"
)

// Unmatched is a code that no measurand knows, under the modifiers that may
// make it another quantity.
type Unmatched struct {
	Example     echo.Measurement // the first one met
	Count       int
	Suggestions []Suggestion // best first
}

// telling are the modifiers that make one code several quantities. Image mode
// and view, respiration, derivation and selection tell values of one quantity
// apart.
func telling() []term.Field {
	return []term.Field{
		term.FindingSite, term.TopographicalModifier, term.Laterality, term.FlowDirection, term.MeasurementMethod,
		term.CardiacCyclePoint, term.MeasurementDivisor, term.MeasuredProperty, term.MeasurementType,
	}
}

// Tally collects unmatched codes over any number of studies.
type Tally struct {
	catalogue *Catalogue
	found     map[string]*Unmatched
}

// NewTally returns an empty tally.
func (c *Catalogue) NewTally() *Tally { return &Tally{catalogue: c, found: map[string]*Unmatched{}} }

// Add counts the measurements that have no measurand. Inputs, limits and
// statistics are no findings and exact duplicates no second value: neither is
// counted.
func (t *Tally) Add(measurements []echo.Measurement) {
	for i := range measurements {
		m := &measurements[i]
		if m.Measurand != "" || m.DuplicateOf != nil || m.Role != echo.Result && m.Role != echo.NestedResult {
			continue
		}
		key := identity(m)
		if t.found[key] == nil {
			t.found[key] = &Unmatched{Example: *m}
		}
		t.found[key].Count++
	}
}

// identity is what one entry of a site file can tell apart.
func identity(m *echo.Measurement) string {
	parts := []string{m.ConceptName.Key().String(), m.Unit.CodeValue}
	if isPrivate(m.ConceptName.Key()) {
		parts = append(parts, m.Equipment.Manufacturer)
	}
	if m.AdHoc {
		parts = append(parts, m.ShortLabel)
	}
	if m.ConceptName.CodeValue == "" {
		parts = append(parts, m.ConceptName.CodeMeaning)
	}
	for _, f := range telling() {
		key := coding.Key{}
		if x := ModifierOf(&m.Modifiers, f); x != nil {
			key = x.Concept.Key()
		}
		parts = append(parts, key.String())
	}
	return strings.Join(parts, "\x00")
}

// isPrivate reports whether a code's meaning depends on who made the device.
func isPrivate(k coding.Key) bool {
	return strings.HasPrefix(k.CodingSchemeDesignator, "99") || k.CodingSchemeDesignator == ""
}

// Unmatched lists the codes, most frequent first, with at most n suggestions
// each.
func (t *Tally) Unmatched(n int) []Unmatched {
	keys := make([]string, 0, len(t.found))
	for k := range t.found {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b string) int {
		return cmp.Or(cmp.Compare(t.found[b].Count, t.found[a].Count), strings.Compare(a, b))
	})
	out := make([]Unmatched, 0, len(keys))
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
func (c *Catalogue) DraftSite(w io.Writer, list []Unmatched) error {
	var b strings.Builder
	b.WriteString(draftHead)
	for i := range list {
		c.draft(&b, i+1, &list[i])
	}
	if _, err := io.WriteString(w, b.String()); err != nil {
		return fmt.Errorf("draft of a site file: %w", err)
	}
	return nil
}

func (c *Catalogue) draft(b *strings.Builder, number int, u *Unmatched) {
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
	conditions, remarks := c.draftConditions(m)
	for _, r := range remarks {
		b.WriteString("#    " + r + "\n")
	}
	if conditions == "" {
		return
	}
	proposed := 0
	for _, s := range u.Suggestions {
		if s.Confidence != Unsure {
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
func (c *Catalogue) draftConditions(m *echo.Measurement) (conditions string, remarks []string) {
	key := m.ConceptName.Key()
	if key.CodeValue == "" || key.CodingSchemeDesignator == "" {
		return "", []string{"no code value or no scheme: it cannot be told by its code; ask the maker of the device"}
	}
	if m.AdHoc && m.ShortLabel == "" {
		return "", []string{"an ad hoc measurement without a label says what property was measured but not of what"}
	}
	parts := []string{conceptNameKey + ": " + quoted(key.String())}
	if isPrivate(key) {
		if m.Equipment.Manufacturer == "" {
			remarks = append(remarks, "private code, but the file does not name the manufacturer: another maker may use the same code otherwise")
		} else {
			parts = append(parts, manufacturerKey+": "+quoted(m.Equipment.Manufacturer))
		}
	}
	if m.AdHoc {
		parts = append(parts, shortLabelKey+": "+quoted(m.ShortLabel))
	}
	for _, f := range telling() {
		x := ModifierOf(&m.Modifiers, f)
		if x == nil {
			continue
		}
		if t := c.Terms.Of(f, x.Concept.Key()); t != nil {
			parts = append(parts, string(f)+": "+t.Name)
		} else {
			remarks = append(remarks, fmt.Sprintf("%s %s has no term: add one to terms.yaml to tell it apart", f, oneLine(x.Concept.String())))
		}
	}
	return strings.Join(append(parts, sourceKey+": site choice"), ", "), remarks
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
