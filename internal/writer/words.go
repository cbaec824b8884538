package writer

import (
	"fmt"
	"slices"
	"strings"
	"unicode"

	"echotally/internal/finding"
	"echotally/internal/layout"
)

// The sentences that the text and the HTML sheet share.

// Obstacles are what stands in the way of sign-off besides findings: parts of
// the study that nobody has judged.
func (s *sheet) Obstacles() []string {
	var out []string
	refused, partial := 0, 0
	for _, o := range s.NotRead {
		switch o.State {
		case "refused":
			refused++
		case "partial":
			partial++
		}
	}
	if s.Failed != "" {
		return append(out, failedWords(s.Failed))
	}
	if len(s.Reports) == 0 {
		out = append(out, "No report of this study was read: nothing was checked.")
	}
	if len(s.Reports) > 0 && s.Measured == s.Unnamed {
		text := "The reports hold no measurement"
		if s.Measured > 0 {
			text = "No measurement of the reports has a code that is known here"
		}
		out = append(out, text+": only the record itself was checked.")
	}
	if refused > 0 {
		out = append(out, layout.Count(refused, "file")+" could not be read: what it holds is not judged.")
	}
	if partial > 0 {
		out = append(out, layout.Count(partial, "file")+" damaged, read in part only.")
	}
	return out
}

// failedWords say that the program is at fault, not the study.
func failedWords(why string) string {
	return "This study was not judged, because of a fault of this program (" + why + "). Report it; the other studies are not concerned."
}

// Decision is said on every sheet.
const Decision = "Whether the study is signed is the reader's decision."

// Verdict says what stands in the way of sign-off, by number, and what else wants
// an eye. It never clears a study: that is the reader's to say.
func (s *sheet) Verdict() string {
	if len(s.Reports) == 0 {
		return ""
	}
	var parts []string
	for _, c := range []struct{ mark, word, noun string }{
		{"■", finding.Error.Word(), "error"}, {"▲", finding.Warning.Word(), "warning"}, {"?", lookWord, "finding to look at"},
	} {
		if n := s.numbers(c.word); len(n) > 0 {
			parts = append(parts, fmt.Sprintf("%s %s [%s]", c.mark, layout.CountOf(len(n), c.noun, plural(c.noun)), strings.Join(n, ", ")))
		}
	}
	if len(parts) == 0 {
		parts = append(parts, "These rules found neither error nor warning")
	}
	if n := s.Counts.Open; n > 0 {
		parts = append(parts, "… "+layout.CountOf(n, "check", "checks")+" could not be made")
	}
	return strings.Join(parts, "; ") + "."
}

// NothingToTake is said in place of the checklist, "" when there is one.
func (s *sheet) NothingToTake() string {
	switch {
	case len(s.Take) > 0:
		return ""
	case s.Acquired == nil:
		return "Nothing is missing by these rules; how the study was acquired was not looked at."
	}
	return "Nothing is missing by these rules."
}

// NothingUntrue is said where no contradiction stands, "" beside one, and where
// the values taken together say more.
func (s *sheet) NothingUntrue() string {
	if len(s.Untrue)+len(s.Joint) > 0 {
		return ""
	}
	return "No contradiction found."
}

// Wrong is the entry's first line: what is wrong, not the rule that says it
// should be right.
func (e entry) Wrong() string {
	text := layout.OrElse(e.Message, e.Title)
	if text != "" && !strings.ContainsAny(text[len(text)-1:], ".?!)") {
		text += "."
	}
	return text
}

// Briefly is Wrong cut after its third part: a remark that lists many items
// would drown the others.
func (e entry) Briefly() string {
	const shown = 3
	parts := strings.Split(e.Wrong(), "; ")
	if len(parts) <= shown+1 {
		return e.Wrong()
	}
	return strings.Join(parts[:shown], "; ") + fmt.Sprintf("; and %d more", len(parts)-shown)
}

// ToGet says how to get it, "" when that is not known.
func (e entry) ToGet() string {
	if e.Obtain == "" {
		return ""
	}
	return "Get it: " + e.Obtain + "."
}

// labelled is a line of an entry.
type labelled struct{ Label, Text string }

// Labelled are the lines below what is wrong: how to get it and what counts as
// done, or what should hold and what to do.
func (e entry) Labelled() []labelled {
	done, should := e.Should(), ""
	if e.Obtain == "" {
		done, should = "", done
	}
	all := []labelled{{"Get it", e.Obtain}, {"Done when", done}, {"Should hold", should}, {"Do", e.Usage}}
	for _, c := range e.Causes {
		all = append(all, labelled{"Likely slip", c})
	}
	all = append(all, labelled{"Suspect", e.Suspect})
	var out []labelled
	for _, l := range all {
		if l.Text != "" {
			out = append(out, l)
		}
	}
	return out
}

// Should is what should hold, "" when Wrong says it already.
func (e entry) Should() string {
	if e.Message == "" || strings.Contains(e.Message, ", but ") || !adds(e.Title, e.Message) {
		return ""
	}
	return e.Title
}

// RuleWords name the rule and its source.
func (e entry) RuleWords() string { return strings.Join(layout.NonEmpty(e.Rule, e.Source), ", ") }

// adds reports whether a title says more than a message: two words at least that
// are not in it.
func adds(title, message string) bool {
	const begin = 5 // velocity and velocities are one
	stem := func(w string) string { return w[:min(len(w), begin)] }
	words := func(text string) []string {
		return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && r != '′' })
	}
	var said []string
	for _, w := range words(message) {
		said = append(said, stem(w))
	}
	n := 0
	for _, w := range words(title) {
		if len(w) > 2 && !slices.Contains(sayNothing, w) && !slices.Contains(said, stem(w)) {
			n++
		}
	}
	return n > 1
}

// sayNothing are words of titles that say nothing of the subject.
var sayNothing = strings.Fields("the its are and from with for not has have can measured recorded stated named noted given computed follows follow agrees agree fits fit own")

func plural(noun string) string {
	first, rest, more := strings.Cut(noun, " ")
	if !more {
		return first + "s"
	}
	return first + "s " + rest
}

// UnnamedNote says how many measurements no rule could see, "" when none.
func (s *sheet) UnnamedNote() string {
	if s.Unnamed == 0 {
		return ""
	}
	said := "measurements have a code that no measurand file names, so no rule saw them"
	if s.Unnamed == 1 {
		said = "measurements has a code that no measurand file names, so no rule saw it"
	}
	return fmt.Sprintf("%d of %d %s (echotally codes PATH lists such codes).", s.Unnamed, s.Measured, said)
}

// Sentence is the summary of all checks.
func (c counts) Sentence() string {
	lab := ""
	if c.PerLab > 0 {
		lab = fmt.Sprintf(" %d more about how the lab reports, which the lab's audit counts.", c.PerLab)
	}
	return fmt.Sprintf("Checks: %d failed (%s, %s, %s), %d to look at, %d could not be checked, %d absent with reason, %d passed, %d did not apply.",
		c.Errors+c.Warnings+c.Information, layout.CountOf(c.Errors, "error", "errors"), layout.CountOf(c.Warnings, "warning", "warnings"),
		layout.CountOf(c.Information, "note", "notes"), c.Review, c.Open, c.Excused, c.Pass, c.NotApplicable) + lab
}

// quantity is what was recorded of one quantity: the value that counts, where it
// stands, then the others.
type quantity struct{ Text, Where, Rest string }

// Quantities are what an entry relies on.
func (e entry) Quantities() []quantity {
	var out []quantity
	for _, g := range e.Evidence {
		q := quantity{Text: g[0].text(), Where: g[0].Where, Rest: g[0].note()}
		if also := e.also(g); also != "" {
			q.Rest = strings.TrimSpace(q.Rest + "; also " + also)
		}
		out = append(out, q)
	}
	return out
}

// Recorded is all that an entry relies on, in one text.
func (e entry) Recorded() string {
	var parts []string
	for _, q := range e.Quantities() {
		parts = append(parts, q.String())
	}
	return strings.Join(parts, " / ")
}

// String is the quantity in one text.
func (q quantity) String() string {
	text := q.Text
	if q.Where != "" {
		text += " [" + q.Where + "]"
	}
	if q.Rest == "" || strings.HasPrefix(q.Rest, ";") {
		return text + q.Rest
	}
	return text + " " + q.Rest
}

// also lists the values that do not count, shortly.
func (e entry) also(g []evidenceLine) string {
	const shown = 6
	var parts []string
	for i, l := range g[1:] {
		if i == shown && !e.Placed {
			parts = append(parts, fmt.Sprintf("%d more", len(g)-1-shown))
			break
		}
		part := layout.OrElse(l.Brief, l.Written)
		if l.View != "" && l.View != g[0].View {
			part += " " + l.View
		}
		if e.Placed && l.Where != "" {
			part += " [" + l.Where + "]"
		}
		if l.Note != "" {
			part += " (" + l.Note + ")"
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ", ")
}

// text writes an evidence line in the order: what, written, view.
func (l evidenceLine) text() string {
	text := strings.TrimSpace(l.What + " " + l.Written)
	if l.Is != "" {
		text += " = " + l.Is
	}
	if l.View != "" {
		text += ", " + l.View
	}
	return text
}

func (l evidenceLine) note() string {
	if l.Note == "" {
		return ""
	}
	return "(" + l.Note + ")"
}

// codeLines are the values under unknown codes in words.
func codeLines(s *sheet) []string {
	var out []string
	for _, l := range s.Codes {
		out = append(out, l.String())
	}
	return out
}

// Of says which of several sheets this is, so that a printed pile can be counted.
func (s *sheet) Of(studies int) string {
	if studies < 2 || s.Number == 0 {
		return ""
	}
	return fmt.Sprintf("; sheet %d of %d", s.Number, studies)
}

// studiesWords head a list of studies.
func studiesWords(all []line) string {
	return layout.CountOf(len(all), "study", "studies") + ", by date, then study UID"
}

// overview counts studies by the gravest that was found in each.
func overview(all []line) string {
	errors, warnings, look, none, open, unread := 0, 0, 0, 0, 0, 0
	for _, l := range all {
		switch c := l.Counts; {
		case c.Errors > 0:
			errors++
		case c.Warnings > 0:
			warnings++
		case c.Review > 0:
			look++
		default:
			none++
		}
		if l.Counts.Open > 0 {
			open++
		}
		if l.NotRead > 0 {
			unread++
		}
	}
	return fmt.Sprintf("Of %s: with an error %d, else with a warning %d, else with something to look at %d, with none of these %d; a check could not be made in %d, a file was not read whole in %d.",
		layout.CountOf(len(all), "study", "studies"), errors, warnings, look, none, open, unread)
}

// Words say what kind of report it is.
func (r reportLine) Words() string {
	return strings.Join(layout.NonEmpty(append([]string{r.Kind, r.Flags, r.Device}, r.Notes...)...), "; ")
}
