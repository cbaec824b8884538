package period

import (
	"html/template"
	"strings"
	"time"

	"echotally/internal/audit"
	"echotally/internal/auditwriter"
	"echotally/internal/calendar"
	"echotally/internal/layout"
	"echotally/internal/plot"
	"echotally/internal/table"
	"echotally/internal/table/words"
	"echotally/internal/web/frame"
)

// page is the audit of a period as the template gets it.
type page struct {
	Title, Lab         string
	Received, Eligible int
	Excluded           []audit.Excluded
	Notable            []string
	Expected, Notes    string
	Caption            string // of the charts month by month
	Proposals          []proposal
	Cards              []card
	Compare            []figure
	Against            *linkedTable
	Tables             []linkedTable
	Empty              []string // titles of tables without a row
	Form               form
	Exports            []link
	Nothing            bool
	Made               time.Time
}

type link struct{ Title, Path string }

type proposal struct {
	Text, Path string
	Studies    int
}

// card is a measure of page one: its chart with places one can point at, and the
// studies behind it.
type card struct {
	ID, Title, Meaning, Share, Small string
	Path, NotMet                     string
	Lacking, Untold                  int
	UntoldPath                       string
	Drawing                          template.HTML
	Width, Height                    float64
	Spots                            []spot
	Columns                          []string
	Rows                             []figureRow
}

type spot struct {
	X, Y        float64
	Path, Words string
}

type figureRow struct {
	Path  string // of the studies behind the row
	Cells []string
}

type figure struct {
	Title   string
	Drawing template.HTML
	Columns []string
	Rows    [][]string
}

// Page shows the audit of a period.
func (p *Pages) Page(c *frame.Call) error {
	a, held, err := read(c)
	if err != nil {
		return err
	}
	r, studies, err := p.report(c, a)
	if err != nil {
		return err
	}
	v := &page{
		Caption: auditwriter.Caption(r),
		Title:   a.period.Words(), Lab: layout.OrElse(r.LabName(), "lab not named"), Received: r.Received, Eligible: r.Eligible, Excluded: r.Excluded,
		Notable: r.Notable(), Expected: r.Chance.Expected(), Notes: r.Notes.Words(), Nothing: r.Received == 0, Made: c.Clock(),
		Form: formOf(a, held, audit.PartsOf(studies), protocolTitles(c)),
	}
	for _, kind := range []string{"pdf", "xlsx", "json"} {
		v.Exports = append(v.Exports, link{map[string]string{"pdf": "PDF to print", "xlsx": "Workbook (XLSX)", "json": "JSON"}[kind], "/lab/audit/" + kind + "?" + a.values().Encode()})
	}
	for _, one := range r.Proposals {
		v.Proposals = append(v.Proposals, proposal{one.Text, a.behind("measure", one.Measure, "as", string(audit.NotMet)), int(one.Studies + 0.5)})
	}
	for i := range r.Headlines {
		one, err := a.card(&r.Headlines[i])
		if err != nil {
			return err
		}
		v.Cards = append(v.Cards, one)
	}
	for i := range r.Followed {
		one, err := a.card(&r.Followed[i])
		if err != nil {
			return err
		}
		v.Cards = append(v.Cards, one)
	}
	for _, one := range auditwriter.Comparisons(r) {
		drawing, err := Drawn(one.Figure)
		if err != nil {
			return err
		}
		v.Compare = append(v.Compare, figure{one.Figure.Title, drawing, one.Figure.Columns, one.Figure.Rows})
	}
	for _, t := range r.Tables {
		if t.Identifier == "months" || t.Identifier == "headlines" || t.Identifier == "against" && a.with == "" {
			continue // the charts have them
		}
		one := a.table(t)
		if t.Identifier == "against" {
			v.Against = &one
			continue
		}
		if one.Count() == 0 {
			v.Empty = append(v.Empty, one.Title)
			continue
		}
		v.Tables = append(v.Tables, one)
	}
	return c.Page(frame.View{Title: "Lab period " + a.period.Words(), Name: "lab", Data: v, Wide: true})
}

// behind is the address of the studies behind a figure.
func (a asked) behind(more ...string) string {
	return "/lab/studies?" + a.values(append([]string{"with", ""}, more...)...).Encode()
}

func (a asked) card(h *audit.Headline) (card, error) {
	chart := auditwriter.Course(h)
	drawing, err := Drawn(chart.Figure)
	if err != nil {
		return card{}, err
	}
	f, id := chart.Figure, h.Measure.Identifier
	out := card{
		ID: f.Identifier, Title: f.Title, Meaning: chart.Meaning, Share: table.Percent(h.Now), Small: chart.Small, Drawing: drawing,
		Width: f.Width.Points(), Height: f.Height.Points(), Columns: f.Columns, Path: a.behind("measure", id), NotMet: a.behind("measure", id, "as", string(audit.NotMet)),
		Lacking: h.Now.Total - h.Now.Count, Untold: h.Untold, UntoldPath: a.behind("measure", id, "as", string(audit.CannotTell)),
	}
	path := func(row int) string {
		return a.behind("measure", id, "period", h.Months[row].Month.Format("2006-01"))
	}
	for i, row := range f.Rows {
		one := figureRow{Cells: row}
		if h.Months[i].Total > 0 {
			one.Path = path(i)
		}
		out.Rows = append(out.Rows, one)
	}
	for _, s := range f.Spots() {
		row := f.Rows[s.Row]
		out.Spots = append(out.Spots, spot{s.X, s.Y, path(s.Row), row[0] + ": " + row[1] + " (" + row[2] + ")"})
	}
	return out, nil
}

// Drawn is a figure in a form that takes its inks from the page, and no style of its
// own, which the page's policy refuses.
func Drawn(f *plot.Figure) (template.HTML, error) {
	svg, err := f.SVG()
	if err != nil {
		return "", err
	}
	svg = strings.ReplaceAll(svg, "\n\tstyle=", " style=")
	var b strings.Builder
	for {
		before, rest, found := strings.Cut(svg, ` style="`)
		b.WriteString(before)
		if !found {
			break
		}
		style, after, _ := strings.Cut(rest, `"`)
		for _, one := range strings.Split(style, ";") {
			if name, value, ok := strings.Cut(strings.TrimSpace(one), ":"); ok {
				b.WriteString(" " + strings.TrimSpace(name) + `="` + strings.TrimSpace(value) + `"`)
			}
		}
		svg = after
	}
	// The drawing is made by our own canvas, its words are escaped there.
	return template.HTML(b.String()), nil
}

// linkedTable is a table of the audit with the studies behind its figures.
type linkedTable struct {
	ID, Title, Note, CSV, PlainMeans string
	Columns                          []table.Column
	Rows, Plain                      [][]cell
	Unprinted                        int
}

// Count is the number of all rows.
func (t *linkedTable) Count() int { return len(t.Rows) + len(t.Plain) + t.Unprinted }

// Number reports whether a column holds numbers.
func (t *linkedTable) Number(i int) bool { return t.Columns[i].Kind != table.Words }

type cell struct{ Text, Path string }

func (a asked) table(t table.Table) linkedTable {
	words := words.WordsOf(t)
	out := linkedTable{ID: t.Identifier, Title: t.Title, Note: t.Note, CSV: "/lab/audit/csv?" + a.values("table", t.Identifier).Encode(),
		PlainMeans: t.PlainMeans, Columns: words.Columns, Unprinted: words.Unprinted}
	if words.Unprinted > 0 {
		return out
	}
	shown, plain := t.Split()
	out.Rows, out.Plain = a.rows(shown, words.Rows), a.rows(plain, words.Plain)
	return out
}

// rows are the words of a table's rows, each with the address of what is behind it.
func (a asked) rows(t table.Table, words [][]string) [][]cell {
	var out [][]cell
	find := places()
	for i, row := range t.Rows {
		of := map[string]string{}
		for k, c := range t.Columns {
			of[c.Identifier] = row[k].Text
		}
		var cells []cell
		for k, c := range t.Columns {
			if c.Machine {
				continue
			}
			one := cell{Text: words[i][len(cells)]}
			if row[k].Withheld == "" && one.Text != "" && one.Text != "0" && one.Text != "no data" {
				one.Path = a.path(find[t.Identifier+"/"+c.Identifier], of)
			}
			cells = append(cells, one)
		}
		out = append(out, cells)
	}
	return out
}

// path is the address of the studies behind a cell, "" where they cannot be asked for.
func (a asked) path(find func(asked, map[string]string) []string, of map[string]string) string {
	if find == nil {
		return ""
	}
	if more := find(a, of); more != nil {
		return a.behind(more...)
	}
	return ""
}

// places say for a column of a table what to ask for.
func places() map[string]func(asked, map[string]string) []string {
	rule := func(as audit.As) func(asked, map[string]string) []string {
		return func(_ asked, of map[string]string) []string {
			return []string{"measure", "rule:" + of["rule"], "as", string(as)}
		}
	}
	measure := func(_ asked, of map[string]string) []string { return []string{"measure", of["measure"]} }
	return map[string]func(asked, map[string]string) []string{
		"completeness/strict": rule(""), "completeness/missing": rule(audit.NotMet), "completeness/excepted": rule(audit.Reasoned), "completeness/cannot_tell": rule(audit.CannotTell),
		"conditional/strict": rule(""), "conditional/missing": rule(audit.NotMet), "conditional/excepted": rule(audit.Reasoned), "conditional/cannot_tell": rule(audit.CannotTell),
		"contradictions/failed": rule(audit.NotMet), "acquisition/met": rule(""), "acquisition/cannot_tell": rule(audit.CannotTell),
		"years/period": measure, "against/share": measure,
		"causes/share": func(_ asked, of map[string]string) []string { return []string{"cause", of["cause"]} },
		"protocols/studies": func(_ asked, of map[string]string) []string {
			if of["protocol"] == "" {
				return nil
			}
			return []string{"protocol", of["protocol"]}
		},
		"contradictions-by-month/contradictions": func(_ asked, of map[string]string) []string {
			return []string{"measure", audit.Consistent, "as", string(audit.NotMet), "period", of["month"]}
		},
		"years/months": func(a asked, of map[string]string) []string {
			return []string{"measure", of["measure"], "period", dates(a.period.Look())}
		},
		"against/share_other": func(a asked, of map[string]string) []string {
			return []string{"measure", of["measure"], "period", a.with}
		},
	}
}

func dates(p calendar.Period) string {
	const day = "2006-01-02"
	return p.From.Format(day) + " to " + p.To.Format(day)
}

// form is what one may ask for.
type form struct {
	From, To    string // days that the ledger holds
	First, Last string // days that were asked for in place of a period of the list
	Periods     []Choices
	With        []Choices
	Parts       []field
}

type field struct {
	Name, Label, All string
	Options          []Option
}

// Choices are periods of one length to choose from.
type Choices struct {
	Label   string
	Options []Option
}

// Option is one of them; Chosen is what is shown.
type Option struct {
	Value, Text string
	Chosen      bool
}

func formOf(a asked, held *calendar.Period, parts audit.Parts, titles map[string]string) form {
	var f form
	if held != nil {
		f.From, f.To = held.From.Format("2006-01-02"), held.To.Format("2006-01-02")
	}
	if first, last, two := strings.Cut(a.name, " to "); two {
		f.First, f.Last = first, last
	}
	f.Periods, f.With = Spans(a.name, held), Spans(a.with, held)
	for _, one := range []struct {
		name, label, all, chosen string
		values                   []string
		titles                   map[string]string
	}{
		{"protocol", "Protocol", "all protocols", a.only.Protocol, parts.Protocols, titles}, {"site", "Site", "all sites", a.only.Site, parts.Sites, nil},
		{"scanner", "Scanner", "all scanners", a.only.Station, parts.Stations, nil}, {"software", "Scanner software", "all versions", a.only.Software, parts.Software, nil},
	} {
		fl := field{Name: one.name, Label: one.label, All: one.all}
		for _, v := range one.values {
			fl.Options = append(fl.Options, Option{v, layout.OrElse(one.titles[v], v), v == one.chosen})
		}
		f.Parts = append(f.Parts, fl)
	}
	return f
}

// unlisted heads what was asked for and is no period of the list.
const unlisted = "As asked for"

// Spans are the periods that the ledger holds studies of, and the one that is shown;
// held is nil for an empty ledger.
func Spans(chosen string, held *calendar.Period) []Choices {
	var years, quarters, months []string
	if held != nil {
		years, quarters, months = held.Spans()
	}
	found := chosen == ""
	var out []Choices
	for _, one := range []struct {
		label string
		names []string
	}{{"Months", months}, {"Quarters", quarters}, {"Years", years}} {
		g := Choices{Label: one.label}
		for _, name := range one.names {
			text := name
			if p, err := calendar.ParsePeriod(name); err == nil {
				text = p.Words()
			}
			found = found || name == chosen
			g.Options = append(g.Options, Option{name, text, name == chosen})
		}
		out = append(out, g)
	}
	if !found {
		out = append([]Choices{{unlisted, []Option{{chosen, chosen, true}}}}, out...)
	}
	return out
}

func protocolTitles(c *frame.Call) map[string]string {
	out := map[string]string{}
	for _, p := range c.Lab.Desk().Library.Protocols {
		out[p.Identifier] = p.Title
	}
	return out
}
