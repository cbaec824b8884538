package auditwriter

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"echotally/internal/audit"
	"echotally/internal/plot"
	"echotally/internal/printable"
	"echotally/internal/stats"
)

// AuditSet writes the lab's audit to a folder as one set that agrees with
// itself: audit.html, audit.pdf, audit.xlsx, audit.json, a CSV file per table
// and dictionary.csv, which explains every column. It returns the names of the
// files.
func AuditSet(dir string, r *audit.Report) ([]string, error) {
	figures := auditFigures(r)
	return set(dir, []part{
		{"audit.html", func(w io.Writer) error { return auditHTML(w, r, figures) }},
		{"audit.pdf", func(w io.Writer) error { return auditPDF(w, r, figures) }},
		{"audit.xlsx", func(w io.Writer) error { return auditXLSX(w, r) }},
		{"audit.json", func(w io.Writer) error { return auditJSON(w, r) }},
	}, r.Tables)
}

// part is one file of a set.
type part struct {
	name  string
	write func(io.Writer) error
}

// set writes the parts, and each table as CSV with the dictionary of all.
func set(dir string, parts []part, tables []audit.Table) ([]string, error) {
	parts = append(parts, part{"dictionary.csv", func(w io.Writer) error { return dictionaryCSV(w, tables) }})
	for _, t := range tables {
		parts = append(parts, part{t.Identifier + ".csv", func(w io.Writer) error { return tableCSV(w, t) }})
	}
	var names []string
	for _, p := range parts {
		if err := writeFile(filepath.Join(dir, p.name), p.write); err != nil {
			return nil, fmt.Errorf("write %s: %w", p.name, err)
		}
		names = append(names, p.name)
	}
	return names, nil
}

// writeFile leaves no half-written file behind.
func writeFile(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	to := io.Writer(f)
	switch filepath.Ext(path) {
	case ".html", ".csv", ".json":
		to = printable.NewWriter(f)
	}
	if err = errors.Join(write(to), f.Close()); err != nil {
		os.Remove(path)
	}
	return err
}

// cellText is a cell as people read it.
func cellText(kind audit.Kind, c audit.Cell) string {
	if c.Withheld != "" {
		return c.Withheld
	}
	switch kind {
	case audit.Count:
		return strconv.Itoa(c.Count)
	case audit.Number:
		return numberText(c.Number)
	case audit.Share:
		return audit.Percent(c.Share)
	case audit.Estimate:
		if math.IsNaN(c.Number) {
			return ""
		}
		if finite(c.Between.Low) == nil || finite(c.Between.High) == nil {
			return estimateText(c.Number)
		}
		return fmt.Sprintf("%s (%s to %s)", estimateText(c.Number), estimateText(c.Between.Low), estimateText(c.Between.High))
	}
	return c.Text
}

// intervalText is the interval of a share, "" where nothing was counted.
func intervalText(p stats.Proportion) string {
	if p.Total == 0 {
		return ""
	}
	i := p.Wilson(audit.Confidence)
	return fmt.Sprintf("%.1f to %.1f %%", 100*i.Low, 100*i.High)
}

// numberText shows about three figures; what is too small for that as a bound.
func numberText(x float64) string {
	switch {
	case math.IsNaN(x):
		return ""
	case x != 0 && math.Abs(x) < 0.0001:
		return "< 0.0001"
	case math.Abs(x) < 1:
		return strconv.FormatFloat(x, 'g', 2, 64)
	case math.Abs(x) < 100:
		return strconv.FormatFloat(x, 'f', 1, 64)
	}
	return strconv.FormatFloat(x, 'f', 0, 64)
}

// estimateText shows about three figures of either sign.
func estimateText(x float64) string {
	text := numberText(math.Abs(x))
	if x < 0 && math.Abs(x) >= 0.0001 {
		return "−" + text
	}
	return text
}

// auditChart is a chart of the report with the measure it belongs to.
type auditChart struct {
	Headline *audit.Headline // nil for the charts of the later pages
	Figure   *plot.Figure
}

// followed tells the charts of actions from those of page one.
func (c auditChart) followed() bool {
	return c.Headline != nil && math.IsNaN(c.Headline.Measure.Target)
}

// Sizes of charts in points: two to a line of an A4 or Letter page.
const (
	chartWidth, chartHeight   = 250, 70
	funnelWidth, funnelHeight = 250, 116
)

// auditFigures draws the charts once for all formats.
func auditFigures(r *audit.Report) []auditChart {
	var out []auditChart
	for i := range r.Headlines {
		h := &r.Headlines[i]
		out = append(out, auditChart{h, controlOf(h).Figure(chartWidth, chartHeight)})
	}
	for i := range r.Followed {
		h := &r.Followed[i]
		out = append(out, auditChart{h, controlOf(h).Figure(chartWidth, chartHeight)})
	}
	for i, f := range r.Funnels {
		out = append(out, auditChart{nil, funnelOf(i, f).Figure(funnelWidth, funnelHeight)})
	}
	for i, d := range r.Digits {
		b := plot.Bars{Identifier: fmt.Sprintf("digits-%d", i+1), Title: "End digits: " + d.Title, Others: d.Others[:]}
		for digit, n := range d.Counts {
			b.Labels, b.Counts = append(b.Labels, strconv.Itoa(digit)), append(b.Counts, n)
		}
		out = append(out, auditChart{nil, b.Figure(funnelWidth, chartHeight)})
	}
	for i, a := range r.Agreements {
		p := plot.Agreement{Identifier: fmt.Sprintf("agreement-%d", i+1), Title: a.Title + ", " + string(a.Compared), Unit: a.Unit,
			First: a.First, Second: a.Second, Bias: a.Test.Bias, Lower: a.Test.Lower, Upper: a.Test.Upper}
		out = append(out, auditChart{nil, p.Figure(funnelWidth, funnelHeight)})
	}
	return out
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
			limit := func(q float64) float64 { return stats.ExactFunnelLimit(n, f.Funnel.Target, q) }
			return limit(0.025), limit(0.975), limit(0.001), limit(0.999)
		}
	}
	return out
}

// short is the number of a coded person.
func short(label string) string { return label[strings.LastIndex(label, " ")+1:] }
