package writer

import (
	"bytes"
	"fmt"
	"io"
	"strings"

	"echotally/internal/layout"
	"echotally/internal/run"
)

// printer lays out a sheet as text.
type printer struct{ layout.Printer }

type measurementsText struct{ *page }

func (measurementsText) begin(io.Writer, *line) error { return nil }
func (measurementsText) between() string              { return "\n" }

func (f measurementsText) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	p := printer{layout.Printer{W: w}}
	list := newMeasurementList(f.measurands, s)
	p.Line(measurementsTitle + "study of " + orUnknown(list.Sheet.Date))
	p.reports(list.Sheet)
	for _, section := range list.Sections {
		p.Heading(section.Title)
		for _, l := range section.Lines {
			value := l.Written
			if l.Is != "" {
				value += " = " + l.Is
			}
			text := fmt.Sprintf("  %-36s %-18s %-12s ", l.What, value, l.Where)
			p.Wrapped(text, strings.Join(layout.NonEmpty(l.View, l.Note), "; "))
		}
	}
	p.failed(list.Sheet)
	p.objects("Not read", list.Sheet.NotRead)
	return list.Sheet.line(), nil
}

func (f measurementsText) end(w io.Writer, _ []line) error { return printed(w, f.page, nil) }

// letters gives the letters of a sheet's reports by SOP Instance UID.
func letters(s *sheet) map[string]string {
	out := map[string]string{}
	for _, r := range s.Reports {
		out[r.UID] = r.Letter
	}
	return out
}

type gapSheetText struct {
	*page
	opt Options
}

func (gapSheetText) begin(io.Writer, *line) error { return nil }
func (gapSheetText) between() string              { return "\n" }

func (f gapSheetText) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	sheet := newSheet(f.measurands, s, f.opt)
	printer{layout.Printer{W: w}}.sheet(sheet)
	return sheet.line(), nil
}

func (f gapSheetText) end(w io.Writer, all []line) error { return printed(w, f.page, all) }

// printed writes what follows the studies: what was not read, the overview when
// there are several, the foot.
func printed(w io.Writer, page *page, all []line) error {
	var b bytes.Buffer
	p := printer{layout.Printer{W: &b}}
	if page.Studies == 0 {
		p.Line(nothing)
	}
	p.objects("Not read, and of no study that is known", page.Unread)
	p.contents(all)
	p.footer(page)
	_, err := w.Write(b.Bytes())
	return err
}

// contents lists the studies when there are several.
func (p printer) contents(all []line) {
	if len(all) < 2 {
		return
	}
	p.Heading(fmt.Sprintf("%d studies", len(all)))
	p.Line(fmt.Sprintf("  %-10s  %7s %9s %6s %12s %9s  %s", "date", "errors", "warnings", "look", "cannot tell", "not read", "study"))
	for _, s := range all {
		p.Line(fmt.Sprintf("  %-10s  %7d %9d %6d %12d %9d  %s", orUnknown(s.Date), s.Counts.Errors, s.Counts.Warnings, s.Counts.Review,
			s.Counts.Open, s.NotRead, s.UID))
	}
}

// failed says that the program was at fault.
func (p printer) failed(s *sheet) {
	if s.Failed != "" {
		p.Wrapped("  ■ ", failedWords(s.Failed))
	}
}

func (p printer) sheet(s *sheet) {
	p.Rule("=")
	p.Line(gapSheetTitle + "study of " + orUnknown(s.Date))
	if s.Patient != nil {
		p.Line(fmt.Sprintf("Patient  %s   ID %s   accession %s", s.Patient[0], s.Patient[1], s.Patient[2]))
	}
	p.reports(s)
	p.Wrapped("Images   ", s.Images)
	p.Rule("=")
	p.Heading("What stands in the way of sign-off")
	p.inTheWay(s)
	if len(s.Reports) == 0 {
		p.objects("What was not read", s.NotRead)
		return
	}
	p.missing(s)
	p.untrue(s)
	p.acquired(s.Acquired)
	p.Heading("Several values, and which counts")
	p.several(s)
	p.unchecked(s)
	if len(s.Worth) > 0 {
		p.Heading("Worth knowing")
		for _, e := range s.Worth {
			p.Wrapped("  "+e.Mark+" ", e.Briefly())
			p.Wrapped("    Should hold: ", e.Title)
		}
	}
	p.Heading("Protocol and rules")
	for _, line := range s.Protocols {
		p.Wrapped("  ", line.Title+" ("+line.How+")")
	}
	p.Wrapped("  ", s.Counts.Sentence())
	p.appendix(s.Appendix)
}

func (p printer) missing(s *sheet) {
	p.Heading("What is missing or must be taken again, and where")
	for _, g := range s.Missing {
		p.Line("  " + capital(g.Window))
		p.entries(g.Entries)
	}
	p.none(s.MissingCount() == 0)
	for _, e := range s.Excused {
		p.Wrapped("  "+e.Mark+" not met, and the record says why: ", e.Title)
		p.evidence(e.Evidence)
	}
}

// untrue tells what cannot be true, then what is wrong with the record itself,
// then what the values say taken together.
func (p printer) untrue(s *sheet) {
	p.Heading("What cannot be true")
	p.entries(s.Untrue)
	p.none(len(s.Untrue) == 0)
	if len(s.Record) > 0 {
		p.Line("  The record itself")
		p.entries(s.Record)
	}
	if len(s.Joint) > 0 {
		p.Line("  Taken together")
		for _, line := range s.Joint {
			p.Wrapped("  ", line)
		}
	}
}

// unchecked shows what could not be checked and what was not read.
func (p printer) unchecked(s *sheet) {
	p.Heading("What could not be checked")
	if len(s.Review) > 0 {
		p.Line("  For a person to look at")
		p.entries(s.Review)
	}
	for _, g := range s.Open {
		p.Wrapped("  … ", g.Lacking+": "+strings.Join(g.Checks, "; "))
	}
	p.none(len(s.Review)+len(s.Open) == 0)
	p.Heading("What was not read")
	p.objectLines(s.NotRead)
	note := s.UnnamedNote()
	if len(s.NotRead) == 0 && note == "" {
		note = "All of it was read."
	}
	if note != "" {
		p.Wrapped("  ", note)
	}
}

func (p printer) reports(s *sheet) {
	p.Line("Study    " + s.UID)
	for _, r := range s.Reports {
		p.Wrapped("Report "+r.Letter+" ", strings.Join(layout.NonEmpty(append([]string{r.Kind, r.Flags, r.Device}, r.Notes...)...), "; ")+"; "+r.UID)
	}
}

func (p printer) inTheWay(s *sheet) {
	for _, e := range s.InTheWay {
		p.Wrapped("  "+e.Mark+" ", fmt.Sprintf("%s [%d]", e.Wrong(), e.Number))
	}
	for _, sentence := range s.Obstacles() {
		p.Wrapped("  ■ ", sentence)
	}
	if text := s.Besides(); text != "" {
		p.Wrapped("  ", text)
	}
}

func (p printer) none(yes bool) {
	if yes {
		p.Line("  Nothing found.")
	}
}

func (p printer) entries(entries []entry) {
	for _, e := range entries {
		p.Wrapped(fmt.Sprintf("  %s [%d] %s: ", e.Mark, e.Number, e.Word), e.Wrong())
		p.Labelled("Should hold: ", e.Should())
		p.Labelled("Get it: ", e.Obtain)
		p.Labelled("Do: ", e.Usage)
		for _, c := range e.Causes {
			p.Labelled("Likely slip: ", c)
		}
		p.Labelled("Suspect: ", e.Suspect)
		p.evidence(e.Evidence)
		p.Labelled("Rule: ", strings.Join(layout.NonEmpty(e.Rule, e.Source), ", "))
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
		p.Wrapped("      - ", text)
	}
}

// several writes one line for each measurand: what counts, why, and among
// which values. The item is that of the value that counts.
func (p printer) several(s *sheet) {
	for _, v := range s.Several {
		p.Line(fmt.Sprintf("  %-22s %-13s %-24s of %d: %s  %s", v.Title, v.Counts, v.Why, v.Number, v.Range, layout.OrElse(v.Where, "formed here")))
	}
	p.none(len(s.Several) == 0)
}

func (p printer) objects(title string, objects []objectLine) {
	if len(objects) == 0 {
		return
	}
	p.Heading(title)
	p.objectLines(objects)
}

func (p printer) objectLines(objects []objectLine) {
	for _, o := range objects {
		p.Wrapped("  "+o.State+" ", o.Path+": "+o.Reason)
		if o.Hint != "" {
			p.Wrapped("      hint: ", o.Hint)
		}
	}
}

func (p printer) appendix(entries []entry) {
	if len(entries) == 0 {
		return
	}
	p.Heading("Every check")
	for _, e := range entries {
		p.Wrapped("  "+e.Mark+" ", fmt.Sprintf("%s: %s (%s)", e.Word, e.Title, e.Rule))
		if e.Message != "" {
			p.Wrapped("      ", e.Message)
		}
		p.evidence(e.Evidence)
	}
}

func (p printer) footer(page *page) {
	p.Line("")
	p.Rule("-")
	p.Wrapped("", page.Caution)
	p.Wrapped("", page.Software+"; "+page.RuleSet+"; "+page.Created)
}

func orUnknown(date string) string { return layout.OrElse(date, "unknown date") }

func capital(text string) string { return strings.ToUpper(text[:1]) + text[1:] }
