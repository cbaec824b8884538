package auditwriter

import (
	"html/template"
	"io"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/layout"
	"echotally/internal/table/words"
)

// auditPage is the lab audit as the template gets it.
type auditPage struct {
	auditHeading
	Caution   string
	Notable   []string
	Expected  string
	Proposals []audit.Proposal
	Cards     []booklet.Card
	Followed  []booklet.Card
	Charts    []booklet.Card
	Tables    []words.Words
	WhatIf    []string
	Notes     string
	Marks     string
	Signed    [][2]string
}

func auditHTML(w io.Writer, r *audit.Report, figures charts) error {
	p := &auditPage{
		auditHeading: headingOf(r), Caution: layout.Caution, Notable: firstLines(r.Notable()), Expected: r.Chance.Expected(), Proposals: r.Proposals,
		Notes: r.Notes.Words(), Marks: Caption(r),
	}
	p.Signed = signatures(r.Options.Prepared)
	if r.Other != nil {
		p.WhatIf = r.Other.Lines()
	}
	for _, part := range []struct {
		of []booklet.Chart
		to *[]booklet.Card
	}{{figures.headlines, &p.Cards}, {figures.followed, &p.Followed}, {figures.comparisons, &p.Charts}} {
		for _, c := range part.of {
			card, err := booklet.NewCard(c)
			if err != nil {
				return err
			}
			*part.to = append(*part.to, card)
		}
	}
	for _, t := range r.Tables {
		p.Tables = append(p.Tables, words.WordsOf(t))
	}
	t, err := booklet.Page(templates, "audit", "audit", p.Foot(), template.FuncMap{
		"about":       about,
		"comparisons": func() string { return comparisonCaption },
	})
	if err != nil {
		return err
	}
	return t.Execute(w, p)
}
