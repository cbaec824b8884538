package writer

import (
	"embed"
	"html/template"
	"io"
	"strings"

	"echotally/internal/run"
)

//go:embed templates
var templates embed.FS

// parseTemplate prepares a template with the style sheet, to which it adds what
// stands at the foot of every printed page.
func parseTemplate(name string, p *page) (*template.Template, error) {
	css, err := templates.ReadFile("templates/style.css")
	if err != nil {
		return nil, err
	}
	functions := template.FuncMap{
		"style":   func() template.CSS { return template.CSS(css) + pageFoot(p) },
		"unknown": orUnknown,
		"capital": capital,
		"nothing": func() string { return nothing },
		"join":    strings.Join,
		"dict":    func(s *sheet, e entry) any { return map[string]any{"Sheet": s, "Entry": e} },
	}
	return template.New(name).Funcs(functions).ParseFS(templates, "templates/"+name, "templates/shared.html.tmpl")
}

// pageFoot names program, rule set and time on every printed page, since pages
// get separated.
func pageFoot(p *page) template.CSS {
	plain := func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`"\<>`, r) {
			return -1
		}
		return r
	}
	text := strings.Map(plain, p.Software+"; "+p.RuleSet+"; "+p.Created)
	return template.CSS(`@page { @bottom-left { content: "` + text + `"; font: 8pt Georgia, serif; color: #333; } }` + "\n")
}

func gapSheetHTML(w io.Writer, a *run.Audit, opt Options) error {
	p := newPage(a, opt)
	t, err := parseTemplate("gapsheet.html.tmpl", p)
	if err != nil {
		return err
	}
	return t.Execute(w, p)
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

// newMeasurementLists sorts nothing: sections follow the document order, and a
// section that is interrupted appears again.
func newMeasurementLists(a *run.Audit, p *page) []measurementList {
	var out []measurementList
	for i, s := range p.Sheets {
		list := measurementList{Sheet: s}
		if study := a.Studies[i].Study; study != nil {
			b := &sheetBuilder{audit: a, study: &a.Studies[i], letters: letters(s), withhold: newWithholder(study.Identity)}
			for j := range study.Measurements {
				m := &study.Measurements[j]
				title := orElse(m.Section, "No section")
				if n := len(list.Sections); n == 0 || list.Sections[n-1].Title != title {
					list.Sections = append(list.Sections, measurementSection{Title: title})
				}
				last := &list.Sections[len(list.Sections)-1]
				last.Lines = append(last.Lines, b.listed(m))
			}
			list.Sections = append(list.Sections, b.wallSection()...)
		}
		out = append(out, list)
	}
	return out
}

func measurementsHTML(w io.Writer, a *run.Audit) error {
	p := newPage(a, Options{})
	t, err := parseTemplate("measurements.html.tmpl", p)
	if err != nil {
		return err
	}
	return t.Execute(w, struct {
		*page
		Lists []measurementList
	}{p, newMeasurementLists(a, p)})
}
