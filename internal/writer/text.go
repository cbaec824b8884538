package writer

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"echotally/internal/run"
)

// width is the width of the text sheets: it fits a terminal, a mail and A4.
const width = 88

// printer writes wrapped lines and remembers the first error.
type printer struct{ w *bufio.Writer }

func (p printer) line(text string) { fmt.Fprintln(p.w, strings.TrimRight(text, " ")) }

func (p printer) rule(mark string) { p.line(strings.Repeat(mark, width)) }

func (p printer) heading(text string) {
	p.line("")
	p.line(strings.ToUpper(text))
}

// wrapped writes text with a first-line prefix; the other lines are indented
// as far as the prefix reaches, but not beyond the text column.
func (p printer) wrapped(prefix, text string) {
	indent := strings.Repeat(" ", min(utf8.RuneCountInString(prefix), 6))
	line, empty := prefix, true
	for _, word := range strings.Fields(text) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			p.line(line)
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	p.line(line)
}

func measurementsText(w io.Writer, a *run.Audit) error {
	p := printer{bufio.NewWriter(w)}
	page := newPage(a, Options{})
	if len(page.Sheets) == 0 {
		p.line(nothing)
	}
	for i, list := range newMeasurementLists(a, page) {
		if i > 0 {
			p.line("")
		}
		p.line("MEASUREMENTS  study of " + orUnknown(list.Sheet.Date))
		p.reports(list.Sheet)
		for _, section := range list.Sections {
			p.heading(section.Title)
			for _, l := range section.Lines {
				value := l.Written
				if l.Is != "" {
					value += " = " + l.Is
				}
				text := fmt.Sprintf("  %-36s %-18s %-12s ", l.What, value, l.Where)
				p.wrapped(text, strings.Join(nonEmpty(l.View, l.Note), "; "))
			}
		}
		p.objects("Not read", list.Sheet.NotRead)
	}
	p.objects("Not read, and of no study that is known", page.Unread)
	p.footer(page)
	return p.w.Flush()
}

// letters gives the letters of a sheet's reports by SOP Instance UID.
func letters(s *sheet) map[string]string {
	out := map[string]string{}
	for _, r := range s.Reports {
		out[r.UID] = r.Letter
	}
	return out
}

func gapSheetText(w io.Writer, a *run.Audit, opt Options) error {
	p := printer{bufio.NewWriter(w)}
	page := newPage(a, opt)
	p.contents(page)
	if len(page.Sheets) == 0 {
		p.line(nothing)
	}
	for i, s := range page.Sheets {
		if i > 0 {
			p.line("")
		}
		p.sheet(s)
	}
	p.objects("Not read, and of no study that is known", page.Unread)
	p.footer(page)
	return p.w.Flush()
}

// contents lists the studies when there are several.
func (p printer) contents(page *page) {
	if len(page.Sheets) < 2 {
		return
	}
	p.line(fmt.Sprintf("%d STUDIES", len(page.Sheets)))
	p.line(fmt.Sprintf("  %-10s  %7s %9s %6s %12s %9s  %s", "date", "errors", "warnings", "look", "cannot tell", "not read", "study"))
	for _, s := range page.Sheets {
		p.line(fmt.Sprintf("  %-10s  %7d %9d %6d %12d %9d  %s", orUnknown(s.Date), s.Counts.Errors, s.Counts.Warnings, s.Counts.Review,
			s.Counts.Open, len(s.NotRead), s.UID))
	}
	p.line("")
}

func (p printer) sheet(s *sheet) {
	p.rule("=")
	p.line("ECHO GAP SHEET  study of " + orUnknown(s.Date))
	if s.Patient != nil {
		p.line(fmt.Sprintf("Patient  %s   ID %s   accession %s", s.Patient[0], s.Patient[1], s.Patient[2]))
	}
	p.reports(s)
	p.wrapped("Images   ", s.Images)
	p.rule("=")
	p.heading("What stands in the way of sign-off")
	p.inTheWay(s)
	if len(s.Reports) == 0 {
		p.objects("What was not read", s.NotRead)
		return
	}
	p.missing(s)
	p.untrue(s)
	p.acquired(s.Acquired)
	p.heading("Several values, and which counts")
	p.several(s)
	p.untold(s)
	if len(s.Worth) > 0 {
		p.heading("Worth knowing")
		for _, e := range s.Worth {
			p.wrapped("  "+e.Mark+" ", e.Briefly())
			p.wrapped("    Should hold: ", e.Title)
		}
	}
	p.heading("Protocol and rules")
	for _, line := range s.Protocols {
		p.wrapped("  ", line.Title+" ("+line.How+")")
	}
	p.wrapped("  ", s.Counts.Sentence())
	p.appendix(s.Appendix)
}

func (p printer) missing(s *sheet) {
	p.heading("What is missing or must be taken again, and where")
	for _, g := range s.Missing {
		p.line("  " + capital(g.Window))
		p.entries(g.Entries)
	}
	p.none(s.MissingCount() == 0)
	for _, e := range s.Excused {
		p.wrapped("  "+e.Mark+" not met, and the record says why: ", e.Title)
		p.evidence(e.Evidence)
	}
}

// untrue tells what cannot be true, then what is wrong with the record itself,
// then what the values say taken together.
func (p printer) untrue(s *sheet) {
	p.heading("What cannot be true")
	p.entries(s.Untrue)
	p.none(len(s.Untrue) == 0)
	if len(s.Record) > 0 {
		p.line("  The record itself")
		p.entries(s.Record)
	}
	if len(s.Joint) > 0 {
		p.line("  Taken together")
		for _, line := range s.Joint {
			p.wrapped("  ", line)
		}
	}
}

// untold tells what could not be told and what was not read.
func (p printer) untold(s *sheet) {
	p.heading("What could not be told")
	if len(s.Review) > 0 {
		p.line("  For a person to look at")
		p.entries(s.Review)
	}
	for _, g := range s.Open {
		p.wrapped("  … ", g.Lacking+": "+strings.Join(g.Checks, "; "))
	}
	p.none(len(s.Review)+len(s.Open) == 0)
	p.heading("What was not read")
	p.objectLines(s.NotRead)
	note := s.UnnamedNote()
	if len(s.NotRead) == 0 && note == "" {
		note = "All of it was read."
	}
	if note != "" {
		p.wrapped("  ", note)
	}
}

func (p printer) reports(s *sheet) {
	p.line("Study    " + s.UID)
	for _, r := range s.Reports {
		p.wrapped("Report "+r.Letter+" ", strings.Join(nonEmpty(append([]string{r.Kind, r.Flags, r.Device}, r.Notes...)...), "; ")+"; "+r.UID)
	}
}

func (p printer) inTheWay(s *sheet) {
	for _, e := range s.InTheWay {
		p.wrapped("  "+e.Mark+" ", fmt.Sprintf("%s [%d]", e.Wrong(), e.Number))
	}
	for _, sentence := range s.Obstacles() {
		p.wrapped("  ■ ", sentence)
	}
	if text := s.Besides(); text != "" {
		p.wrapped("  ", text)
	}
}

func (p printer) none(yes bool) {
	if yes {
		p.line("  Nothing found.")
	}
}

func (p printer) entries(entries []entry) {
	for _, e := range entries {
		p.wrapped(fmt.Sprintf("  %s [%d] %s: ", e.Mark, e.Number, e.Word), e.Wrong())
		p.labelled("Should hold: ", e.Should())
		p.labelled("Get it: ", e.Obtain)
		p.labelled("Do: ", e.Usage)
		for _, c := range e.Causes {
			p.labelled("Likely slip: ", c)
		}
		p.labelled("Suspect: ", e.Suspect)
		p.evidence(e.Evidence)
		p.labelled("Rule: ", strings.Join(nonEmpty(e.Rule, e.Source), ", "))
	}
}

func (p printer) labelled(label, text string) {
	if text != "" {
		p.wrapped("      "+label, text)
	}
}

// evidence writes one line for each quantity: the value that counts, then the
// others.
func (p printer) evidence(groups [][]evidenceLine) {
	for _, g := range groups {
		text := g[0].String()
		for _, l := range g[1:] {
			text += "; " + l.also()
		}
		p.wrapped("      - ", text)
	}
}

// several writes one line for each measurand: what counts, why, and among
// which values. The item is that of the value that counts.
func (p printer) several(s *sheet) {
	for _, v := range s.Several {
		p.line(fmt.Sprintf("  %-22s %-13s %-24s of %d: %s  %s", v.Title, v.Counts, v.Why, v.Number, v.Range, orElse(v.Where, "formed here")))
	}
	p.none(len(s.Several) == 0)
}

func (p printer) objects(title string, objects []objectLine) {
	if len(objects) == 0 {
		return
	}
	p.heading(title)
	p.objectLines(objects)
}

func (p printer) objectLines(objects []objectLine) {
	for _, o := range objects {
		p.wrapped("  "+o.State+" ", o.Path+": "+o.Reason)
		if o.Hint != "" {
			p.wrapped("      hint: ", o.Hint)
		}
	}
}

func (p printer) appendix(entries []entry) {
	if len(entries) == 0 {
		return
	}
	p.heading("Every check")
	for _, e := range entries {
		p.wrapped("  "+e.Mark+" ", fmt.Sprintf("%s: %s (%s)", e.Word, e.Title, e.Rule))
		if e.Message != "" {
			p.wrapped("      ", e.Message)
		}
		p.evidence(e.Evidence)
	}
}

func (p printer) footer(page *page) {
	p.line("")
	p.rule("-")
	p.wrapped("", page.Caution)
	p.wrapped("", page.Software+"; "+page.RuleSet+"; "+page.Created)
}

func orUnknown(date string) string { return orElse(date, "unknown date") }

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}

func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }
