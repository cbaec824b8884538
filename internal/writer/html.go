package writer

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"

	"echotally/internal/layout"
	"echotally/internal/run"
	"echotally/internal/writer/withhold"
)

//go:embed templates
var templates embed.FS

// webPage is the template of a document, whose parts are named begin, leaf and end.
type webPage struct {
	*template.Template
	page *page // what the template shows around the studies
}

func newWebPage(r *run.Run, name, mark string) (webPage, error) {
	return webPageOf(newPage(r), name, mark)
}

func webPageOf(p *page, name, mark string) (webPage, error) {
	functions := template.FuncMap{
		"style":     func() template.CSS { return layout.Style() + layout.Foot(p.Software+"; "+p.RuleSet+"; "+p.Created) },
		"generator": func() template.HTML { return layout.Generator(mark) },
		"page":      func() *page { return p },
		"unknown":   orUnknown,
		"capital":   capital,
		"nothing":   func() string { return nothing },
		"join":      strings.Join,
		"dict":      func(s *sheet, e entry, box string) any { return map[string]any{"Sheet": s, "Entry": e, "Box": box} },
		"paper": func(s *sheet) template.CSS {
			return layout.Paper(s.Anchor, s.heading()+s.Of(p.Studies), p.Studies == 1)
		},
		"overview": overview,
		"of":       func(s *sheet) string { return s.Of(p.Studies) },
		"decision": func() string { return Decision },
		"rules":    rulesLine,
		"tail":     tail,
		"item":     func(string) string { return "" },
	}
	t, err := template.New(name).Funcs(functions).ParseFS(templates, "templates/"+name, "templates/shared.html.tmpl")
	return webPage{t, p}, err
}

func (webPage) between() string { return "" }

func (h webPage) begin(w io.Writer, first *line) error { return h.ExecuteTemplate(w, "begin", first) }

func (h webPage) end(w io.Writer, all []line) error { return h.ExecuteTemplate(w, "end", all) }

// Articles write studies as parts of other pages, which bring the style. They keep the
// templates they have read, and may be used from several goroutines.
type Articles struct{ sheets, items sync.Pool }

// GapSheet writes the gap sheet of one study as it is printed. Each place of a value
// leads to the item of that place in the article that [Articles.Items] writes.
func (a *Articles) GapSheet(w io.Writer, r *run.Run, s *run.Study, opt Options) error {
	return article(&a.sheets, "gapsheet.html.tmpl", gapSheetMark, r, func(h webPage) error {
		return h.ExecuteTemplate(w, "article", h.page.sheet(s, opt))
	})
}

// Items writes all that the reports of one study hold, item by item as written.
func (a *Articles) Items(w io.Writer, r *run.Run, s *run.Study) error {
	return article(&a.items, "measurements.html.tmpl", measurementsMark, r, func(h webPage) error {
		return h.ExecuteTemplate(w, "article", h.page.measurementList(s))
	})
}

// article has a template write that nobody else has in hand: what it shows around the
// studies is its own.
func article(free *sync.Pool, name, mark string, r *run.Run, write func(webPage) error) error {
	h, ready := free.Get().(*webPage)
	if ready {
		*h.page = *newPage(r)
	} else {
		made, err := webPageOf(newPage(r), name, mark)
		if err != nil {
			return err
		}
		made.Funcs(template.FuncMap{"item": itemAnchor})
		h = &made
	}
	defer free.Put(h)
	return write(*h)
}

// itemAnchor is where a place stands within a page: letter of the report, position
// path of the item.
func itemAnchor(where string) string { return "item-" + strings.ReplaceAll(where, " ", "-") }

// rulesLine names the rules of the numbered entries.
func rulesLine(s *sheet) string {
	var parts []string
	for _, e := range s.numbered() {
		parts = append(parts, fmt.Sprintf("[%d] %s", e.Number, e.RuleWords()))
	}
	return strings.Join(parts, "; ")
}

// heading is what stands at the head of each printed page of a sheet: pages get
// separated.
func (s *sheet) heading() string {
	who := "patient not named"
	if s.Patient != nil {
		who = strings.Join(layout.NonEmpty(s.Patient...), ", ")
	}
	return strings.Join([]string{"Echo gap sheet", "study " + tail(s.UID) + " of " + orUnknown(s.Date), who}, "; ")
}

// tail is the end of a UID, enough to tell two studies apart by eye.
func tail(uid string) string {
	const letters = 8
	if len(uid) <= letters {
		return uid
	}
	return "…" + uid[len(uid)-letters:]
}

type gapSheetHTML struct {
	webPage
	opt Options
}

func (f gapSheetHTML) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	sheet := f.page.sheet(s, f.opt)
	return sheet.line(), f.ExecuteTemplate(w, "leaf", sheet)
}

type measurementsHTML struct{ webPage }

func (f measurementsHTML) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	list := f.page.measurementList(s)
	return list.Sheet.line(), f.ExecuteTemplate(w, "leaf", list)
}

// measurementList is the measurements of one study by section.
type measurementList struct {
	Sheet    *sheet
	Sections []measurementSection
}

type measurementSection struct {
	Title string
	Lines []evidenceLine
}

// newMeasurementList sorts nothing: sections follow the document order, and a
// section that is interrupted appears again.
func (p *page) measurementList(s *run.Study) measurementList {
	list := measurementList{Sheet: p.sheet(s, Options{})}
	if s.Study == nil {
		return list
	}
	b := &sheetBuilder{measurands: p.measurands, study: s, letters: letters(list.Sheet), withhold: withhold.New(s.Study.Identity)}
	for i := range s.Study.Measurements {
		m := &s.Study.Measurements[i]
		title := layout.OrElse(m.Section, "No section")
		if n := len(list.Sections); n == 0 || list.Sections[n-1].Title != title {
			list.Sections = append(list.Sections, measurementSection{Title: title})
		}
		last := &list.Sections[len(list.Sections)-1]
		last.Lines = append(last.Lines, b.listed(m))
	}
	list.Sections = append(list.Sections, b.wallSection()...)
	return list
}
