package auditwriter

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/booklet"
	"echotally/internal/booklet/pdfpage"
	"echotally/internal/plot"
	"echotally/internal/stats/funnel"
	"echotally/internal/table"
)

// AuditSet writes the lab's audit to a folder as one set that agrees with
// itself: audit.html, audit.pdf, audit.xlsx, audit.json, a CSV file per table
// and dictionary.csv, which explains every column. The print is on paper, A4 when
// none is named. It returns the names of the files.
func AuditSet(dir string, r *audit.Report, paper pdfpage.Paper) ([]string, error) {
	figures := chartsOf(r)
	return booklet.Files(dir, []booklet.File{
		{Name: "audit.html", Write: func(w io.Writer) error { return auditHTML(w, r, figures) }},
		{Name: "audit.pdf", Write: func(w io.Writer) error { return auditPDF(w, r, figures, paper) }},
		{Name: "audit.xlsx", Write: func(w io.Writer) error { return auditXLSX(w, r) }},
		{Name: "audit.json", Write: func(w io.Writer) error { return auditJSON(w, r) }},
	}, r.Tables)
}

// charts are the charts of the report by where they stand.
type charts struct {
	headlines, followed, comparisons []booklet.Chart
}

// chartsOf draws the charts once for all formats.
func chartsOf(r *audit.Report) charts {
	var out charts
	for i := range r.Headlines {
		out.headlines = append(out.headlines, Course(&r.Headlines[i]))
	}
	for i := range r.Followed {
		out.followed = append(out.followed, Course(&r.Followed[i]))
	}
	out.comparisons = Funnels(r)
	compare := func(f *plot.Figure) { out.comparisons = append(out.comparisons, booklet.Chart{Figure: f}) }
	for i, d := range r.Digits {
		b := plot.Bars{Identifier: fmt.Sprintf("digits-%d", i+1), Title: "End digits: " + d.Title, Others: d.Others[:]}
		for digit, n := range d.Counts {
			b.Labels, b.Counts = append(b.Labels, strconv.Itoa(digit)), append(b.Counts, n)
		}
		compare(b.Figure(booklet.RunWidth, booklet.RunHeight))
	}
	for i, a := range r.Agreements {
		pairs := booklet.Pairs{Title: a.Title + ", " + string(a.Compared), Unit: a.Unit, First: a.First, Second: a.Second, Test: a.Test}
		out.comparisons = append(out.comparisons, pairs.Chart(i+1))
	}
	return out
}

// Comparisons are the charts of the later pages: people by code, end digits, readings.
func Comparisons(r *audit.Report) []booklet.Chart { return chartsOf(r).comparisons }

// Funnels are the charts of people by code.
func Funnels(r *audit.Report) []booklet.Chart {
	var out []booklet.Chart
	for i, f := range r.Funnels {
		out = append(out, booklet.Chart{Figure: funnelOf(i, f).Figure(booklet.WideWidth, booklet.WideHeight)})
	}
	return out
}

// Course is the chart of a measure over the months with its share in the period.
func Course(h *audit.Headline) booklet.Chart {
	return booklet.Chart{
		Figure: controlOf(h).Figure(booklet.RunWidth, booklet.RunHeight),
		Share:  table.Percent(h.Now), Small: strings.Join(cardWords(h), "; "), Meaning: h.Measure.Meaning,
	}
}

func controlOf(h *audit.Headline) plot.Control {
	c := plot.Control{Identifier: "chart-" + strings.ReplaceAll(strings.ReplaceAll(h.Measure.Identifier, ":", "-"), "/", "-"), Title: h.Measure.Title, Target: h.Measure.Target}
	signals := map[int]bool{}
	for _, i := range h.Chart.Signals {
		signals[i] = true
	}
	for i, m := range h.Months {
		p := plot.Point{Month: m.Month, Value: math.NaN(), YearBefore: math.NaN(), Centre: math.NaN(), Signal: signals[i], Counted: fmt.Sprintf("%d/%d", m.Count, m.Total)}
		if m.YearBefore.Total > 0 {
			p.YearBefore = m.YearBefore.Value()
		}
		if len(h.Chart.Limits) > 0 {
			p.Centre = h.Centres[i]
		}
		if m.Total > 0 {
			p.Value = m.Value()
			if len(h.Chart.Limits) > 0 {
				p.Low, p.High, p.Limits = h.Chart.Limits[i].Low, h.Chart.Limits[i].High, true
			}
		}
		c.Points = append(c.Points, p)
	}
	for _, p := range h.Phases {
		c.Phases = append(c.Phases, plot.Phase{At: p.At, Mark: p.Mark, Title: p.Title})
	}
	return c
}

func funnelOf(i int, f audit.FunnelOf) plot.Funnel {
	out := plot.Funnel{Identifier: fmt.Sprintf("funnel-%d", i+1), Title: f.Title, Target: f.Funnel.Target}
	for k, u := range f.Funnel.Units {
		out.Units = append(out.Units, plot.Unit{Label: short(f.Labels[k]), Studies: u.Total, Value: u.Value(), Counted: fmt.Sprintf("%d/%d", u.Count, u.Total)})
	}
	if f.Funnel.Comparable && !f.Funnel.Dispersed {
		out.Limits = func(n int) (a, b, c, d float64) {
			limit := func(q float64) float64 { return funnel.ExactFunnelLimit(n, f.Funnel.Target, q) }
			return limit(0.025), limit(0.975), limit(0.001), limit(0.999)
		}
	}
	return out
}

// short is the number of a coded person.
func short(label string) string { return label[strings.LastIndex(label, " ")+1:] }
