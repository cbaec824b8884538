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
	list := f.measurementList(s)
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
	sheet := f.sheet(s, f.opt)
	printer{layout.Printer{W: w}}.sheet(sheet, f.Studies)
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
	if len(all) > 1 {
		p.Heading(studiesWords(all))
		p.contents(all)
	}
	p.footer(page)
	_, err := w.Write(b.Bytes())
	return err
}

// briefText is a line for each study, for who has many to look through.
type briefText struct{ *page }

func (briefText) begin(io.Writer, *line) error { return nil }
func (briefText) between() string              { return "" }

func (f briefText) leaf(_ *bytes.Buffer, s *run.Study) (*line, error) {
	return f.sheet(s, Options{}).line(), nil
}

func (f briefText) end(w io.Writer, all []line) error {
	var b bytes.Buffer
	p := printer{layout.Printer{W: &b}}
	if len(all) == 0 {
		p.Line(nothing)
	} else {
		p.Line(studiesWords(all))
		p.contents(all)
	}
	p.objects("Not read, and of no study that is known", f.Unread)
	p.footer(f.page)
	_, err := w.Write(b.Bytes())
	return err
}

// contents lists studies, with where each was found.
func (p printer) contents(all []line) {
	p.Line(fmt.Sprintf("  %-10s  %6s %8s %4s %11s %8s  %s", "date", "errors", "warnings", "look", "cannot tell", "not read", "found at; study"))
	for _, s := range all {
		p.Line(fmt.Sprintf("  %-10s  %6d %8d %4d %11d %8d  %s", orUnknown(s.Date), s.Counts.Errors, s.Counts.Warnings, s.Counts.Review,
			s.Counts.Open, s.NotRead, strings.Join(layout.NonEmpty(s.Where, s.UID), "; ")))
	}
	p.Wrapped("  ", overview(all))
}

// failed says that the program was at fault.
func (p printer) failed(s *sheet) {
	if s.Failed != "" {
		p.Wrapped("  ■ ", failedWords(s.Failed))
	}
}

func (p printer) sheet(s *sheet, studies int) {
	p.Rule("=")
	p.Line(gapSheetTitle + "study of " + orUnknown(s.Date) + s.Of(studies))
	if s.Patient != nil {
		p.Line(fmt.Sprintf("Patient  %s   ID %s   accession %s", s.Patient[0], s.Patient[1], s.Patient[2]))
	}
	for _, r := range s.Reports {
		p.Wrapped("Report "+r.Letter+" ", r.Words())
		p.Wrapped("File     ", r.Path)
	}
	p.Wrapped("Images   ", s.Images)
	p.Rule("=")
	p.verdict(s)
	if len(s.Reports) == 0 {
		p.objects("What was not read", s.NotRead)
		p.Wrapped("Found at ", s.Where)
		p.Wrapped("Study    ", s.UID)
		return
	}
	if s.RecordFirst() {
		p.list("The record itself", s.Record)
	}
	p.take(s)
	p.untrue(s)
	if !s.RecordFirst() {
		p.list("The record itself", s.Record)
	}
	p.lines("Perhaps under an unknown code", codeLines(s))
	p.acquired(s.Acquired)
	p.lines("Could not be checked", s.Open)
	p.notes(s)
	p.objects("What was not read", s.NotRead)
	p.several(s)
	p.basis(s)
	p.appendix(s.Appendix)
}

// verdict is the box at the top.
func (p printer) verdict(s *sheet) {
	p.Line("")
	p.Wrapped("  ", s.Verdict())
	for _, sentence := range s.Obstacles() {
		p.Wrapped("  ■ ", sentence)
	}
	if len(s.Reports) > 0 {
		p.Wrapped("  ", Decision)
	}
}

func (p printer) take(s *sheet) {
	p.Heading("Take now, by scanning window")
	for _, g := range s.Take {
		p.Line("  " + capital(g.Window))
		for _, e := range g.Entries {
			p.entry("[ ] ", e)
		}
	}
	p.said(s.NothingToTake())
	if s.Excused != "" {
		p.Wrapped("  ◇ Not done, and the record says why: ", s.Excused)
	}
}

// untrue tells what contradicts itself, then which value is likely wrong.
func (p printer) untrue(s *sheet) {
	p.Heading("Contradictions")
	for _, e := range s.Untrue {
		p.entry("", e)
	}
	p.said(s.NothingUntrue())
	for _, line := range s.Joint {
		p.Wrapped("  ", line)
	}
}

func (p printer) list(title string, entries []entry) {
	if len(entries) == 0 {
		return
	}
	p.Heading(title)
	for _, e := range entries {
		p.entry("", e)
	}
}

// entry writes a finding; a note to be taken is one paragraph.
func (p printer) entry(box string, e entry) {
	if e.Number == 0 {
		p.Wrapped("  "+box+e.Mark+" ", strings.Join(layout.NonEmpty(e.Wrong(), e.ToGet()), " "))
		return
	}
	p.Wrapped(fmt.Sprintf("  %s%s [%d] ", box, e.Mark, e.Number), e.Wrong())
	for _, l := range e.Labelled() {
		p.Labelled(l.Label+": ", l.Text)
	}
	p.Labelled("Recorded: ", e.Recorded())
}

func (p printer) lines(title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	p.Heading(title)
	for _, line := range lines {
		p.Wrapped("  … ", line)
	}
}

func (p printer) notes(s *sheet) {
	if len(s.Notes) == 0 {
		return
	}
	p.Heading("Notes")
	for _, g := range s.Notes {
		if len(s.Notes) > 1 {
			p.Line("  " + g.Title)
		}
		for _, line := range g.Lines {
			p.Wrapped("  ○ ", line)
		}
	}
}

// basis says by what the study was judged and where things stand.
func (p printer) basis(s *sheet) {
	p.Heading("Basis")
	for _, line := range s.Protocols {
		p.Wrapped("  ", line.Title+" ("+line.How+")")
	}
	p.Wrapped("  ", s.Counts.Sentence())
	if note := s.UnnamedNote(); note != "" {
		p.Wrapped("  ", note)
	}
	for _, e := range s.numbered() {
		p.Wrapped(fmt.Sprintf("  [%d] ", e.Number), e.RuleWords())
	}
	p.Wrapped("  Study ", s.UID)
	for _, r := range s.Reports {
		p.Wrapped("  Report "+r.Letter+" ", r.UID)
	}
}

// said writes a sentence, if there is one.
func (p printer) said(sentence string) {
	if sentence != "" {
		p.Wrapped("  ", sentence)
	}
}

func (p printer) reports(s *sheet) {
	p.Line("Study    " + s.UID)
	for _, r := range s.Reports {
		p.Wrapped("Report "+r.Letter+" ", strings.Join(layout.NonEmpty(append([]string{r.Kind, r.Flags, r.Device}, r.Notes...)...), "; ")+"; "+r.UID)
	}
}

// several writes one line for each measurand: what counts, why, and among
// which values. The item is that of the value that counts.
func (p printer) several(s *sheet) {
	if len(s.Several) == 0 {
		return
	}
	p.Heading("Several values, and which counts")
	for _, v := range s.Several {
		p.Line(fmt.Sprintf("  %-22s %-13s %-24s of %d: %s  %s", v.Title, v.Counts, v.Why, v.Number, v.Range, layout.OrElse(v.Where, "formed here")))
	}
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
		for _, q := range e.Quantities() {
			p.Wrapped("      - ", q.String())
		}
	}
}

func (p printer) footer(page *page) {
	p.Line("")
	p.Rule("-")
	p.Wrapped("", page.Caution)
	p.Wrapped("", page.Software+"; "+page.RuleSet+"; "+page.Created)
}

func orUnknown(date string) string { return layout.OrElse(date, "unknown date") }

func capital(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + text[1:]
}
