package audit

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Notable tells what signals in few lines: the months of one chart together,
// the measurands of one person together, the gravest tests first.
func (r *Report) Notable() []string {
	var out []string
	for _, s := range r.Signals {
		switch s.Kind {
		case OfSoftware, OfPerson, OfThreshold:
			out = append(out, s.Text)
		}
	}
	out = append(out, r.rounders()...)
	for _, h := range r.Headlines {
		if line := r.chartLine(&h); line != "" {
			out = append(out, line)
		}
	}
	return out
}

func (r *Report) rounders() []string {
	var order []string
	by := map[string][]string{}
	for _, s := range r.Signals {
		if s.Kind != OfDigits {
			continue
		}
		if by[s.Where] == nil {
			order = append(order, s.Where)
		}
		by[s.Where] = append(by[s.Where], lower(s.Title))
	}
	var out []string
	for _, who := range order {
		out = append(out, fmt.Sprintf("%s writes values ending in 0 or 5 more often than the others: %s", who, strings.Join(by[who], ", ")))
	}
	return out
}

func (r *Report) chartLine(h *Headline) string {
	var below, above []string
	for _, s := range r.Signals {
		if s.Kind != BeyondLimit || s.Measure != h.Measure.Identifier {
			continue
		}
		if at := slices.IndexFunc(h.Months, func(m Month12) bool { return m.Month.Format("2006-01") == s.Where }); s.To.Value() < h.Centres[at] {
			below = append(below, s.Where)
		} else {
			above = append(above, s.Where)
		}
	}
	var parts []string
	if len(below) > 0 {
		parts = append(parts, "below its limits in "+spans(below))
	}
	if len(above) > 0 {
		parts = append(parts, "above its limits in "+spans(above))
	}
	for _, s := range r.Signals {
		if s.Kind == UnusualRuns && s.Measure == h.Measure.Identifier {
			parts = append(parts, "the months keep to one side of the median")
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return h.Measure.Title + ": " + strings.Join(parts, "; ")
}

// spans writes months that follow each other as one span.
func spans(months []string) string {
	var out []string
	for i := 0; i < len(months); {
		k := i
		for k+1 < len(months) && follows(months[k], months[k+1]) {
			k++
		}
		if k > i+1 {
			out = append(out, months[i]+" to "+months[k])
		} else {
			out = append(out, months[i:k+1]...)
		}
		i = k + 1
	}
	return strings.Join(out, ", ")
}

func follows(a, b string) bool {
	m, err := time.Parse("2006-01", a)
	return err == nil && m.AddDate(0, 1, 0).Format("2006-01") == b
}

// Expected says how many of the signals are chance.
func (c Chance) Expected() string {
	return fmt.Sprintf("When nothing has changed, judging months (%d) and charts (%d) gives about %.1f signals by chance. Flagged: %d of %d tests, at a false discovery rate of %.0f %%; when nothing differs at all, any is flagged in at most that share of reports.",
		c.Points, c.Charts, c.FalseChart, c.Flagged, c.Tests, 100*c.Discovery)
}
