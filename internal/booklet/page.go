package booklet

import (
	"html/template"
	"io/fs"
	"slices"
	"strings"

	"echotally/internal/layout"
	"echotally/internal/plot"
	"echotally/internal/table"
)

// Chart is a figure with what stands beside its title and below it.
type Chart struct {
	Figure                *plot.Figure
	Share, Small, Meaning string
}

// Card is a chart as a page gets it.
type Card struct {
	Title, Share, Small, Meaning string
	Figure                       *plot.Figure
	SVG                          template.HTML
}

// NewCard draws a chart for a page.
func NewCard(c Chart) (Card, error) {
	svg, err := c.Figure.SVG()
	if err != nil {
		return Card{}, err
	}
	// The drawing is made by our own canvas, its words are escaped there.
	return Card{c.Figure.Title, c.Share, c.Small, c.Meaning, c.Figure, template.HTML(svg)}, nil
}

// unbroken is from how many letters on a word may be broken anywhere: a UID, a hash.
// Words of a language stay whole, else narrow columns fall into syllables.
const unbroken = 30

func long(cell string) bool {
	return slices.ContainsFunc(strings.Fields(cell), func(word string) bool { return len(word) >= unbroken })
}

// Page reads the template name.html.tmpl of the folder templates. Beside its own
// functions it may use style, generator (by which pages of the document are known
// again) and number, and the templates card, of a [Card], and tables, of [words.Words].
// foot stands at the foot of every printed page, if there is one.
func Page(own fs.FS, name, document, foot string, more template.FuncMap) (*template.Template, error) {
	css, err := templates.ReadFile("templates/booklet.css")
	if err != nil {
		return nil, err
	}
	style := layout.Style() + template.CSS(css)
	if foot != "" {
		style += layout.Foot(foot)
	}
	t, err := template.New(name+".html.tmpl").Funcs(template.FuncMap{
		"style":     func() template.CSS { return style },
		"generator": func() template.HTML { return layout.Generator(document) },
		"number":    func(k table.Kind) bool { return k != table.Words },
		"long":      long,
	}).Funcs(more).ParseFS(templates, "templates/card.html.tmpl", "templates/table.html.tmpl")
	if err != nil {
		return nil, err
	}
	return t.ParseFS(own, "templates/"+name+".html.tmpl")
}
