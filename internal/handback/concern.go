package handback

import (
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/sr"
)

// concern is a finding that somebody has to act on, with the objects it is about.
type concern struct {
	result  *finding.Result
	objects []sr.InstanceReference
	items   []string // position paths of content items
}

// concerns are the findings of the study as they stand on its gap sheet, the gravest
// first: what failed, and what a person must look at. What is a matter of how the lab
// reports is on no sheet.
func (m *Maker) concerns() []concern {
	var out []concern
	for i := range m.Judgement.Results {
		r := &m.Judgement.Results[i]
		if r.Outcome != finding.Fail && r.Outcome != finding.Review || r.PerLab {
			continue
		}
		out = append(out, m.concern(r))
	}
	slices.SortStableFunc(out, func(a, b concern) int { return rank(b.result) - rank(a.result) })
	return out
}

// rank puts errors first, then warnings and what is to be looked at, then notes.
func rank(r *finding.Result) int {
	if r.Outcome == finding.Review {
		return finding.Warning.Rank()
	}
	return r.Severity.Rank()
}

func (m *Maker) concern(r *finding.Result) concern {
	c := concern{result: r}
	for i := range r.Evidence {
		e := &r.Evidence[i]
		at := e.Reference
		if at.Earlier || !c.add(m.Source, at.SOPInstanceUID) {
			continue
		}
		if at.Item != "" && !slices.Contains(c.items, at.Item) {
			c.items = append(c.items, at.Item)
		}
		if e.Measurement != nil {
			for _, image := range e.Measurement.Images {
				c.add(m.Source, image.SOPInstanceUID)
			}
		}
	}
	if len(c.objects) == 0 { // of what is missing nothing can be shown but where it should stand
		c.objects = m.reports()
	}
	return c
}

// add adds an object of the study once, false when it is none that is at hand.
func (c *concern) add(s *Source, uid string) bool {
	ref, known := s.objects[uid]
	if known && !slices.ContainsFunc(c.objects, func(o sr.InstanceReference) bool { return o.SOPInstanceUID == uid }) {
		c.objects = append(c.objects, ref)
	}
	return known
}

// reports are the reports that count, as far as they are at hand.
func (m *Maker) reports() []sr.InstanceReference {
	var out []sr.InstanceReference
	for i := range m.Study.Documents {
		d := &m.Study.Documents[i]
		if ref, known := m.Source.objects[d.SOPInstanceUID]; known && d.SupersededBy == "" {
			out = append(out, ref)
		}
	}
	return out
}

// words say what was found, with what to do.
func (c *concern) words() string {
	r := c.result
	out := mark(r) + ": " + strings.TrimSpace(r.Message)
	if r.Message == "" {
		out = mark(r) + ": " + r.Title
	}
	if !strings.HasSuffix(out, ".") {
		out += "."
	}
	if r.Usage != "" {
		out += " To do: " + r.Usage
	}
	return out
}

func mark(r *finding.Result) string {
	switch {
	case r.Outcome == finding.Review:
		return "Look"
	case r.Severity == finding.Error:
		return "Error"
	case r.Severity == finding.Warning:
		return "Warning"
	}
	return "Note"
}

// Untold says in one sentence what could not be checked, "" for nothing.
func (m *Maker) Untold() string {
	n := 0
	var lacks []string
	for i := range m.Judgement.Results {
		r := &m.Judgement.Results[i]
		if r.Outcome != finding.Open || r.OpenPerLab || r.PerLab {
			continue
		}
		n++
		for _, l := range r.Missing {
			if l.Title != "" && !slices.Contains(lacks, l.Title) {
				lacks = append(lacks, l.Title)
			}
		}
	}
	if n == 0 {
		return ""
	}
	out := layout.CountOf(n, "check", "checks") + " could not be made"
	if len(lacks) > 0 {
		out += ", for want of: " + strings.Join(lacks, "; ")
	}
	return out + ". What cannot be told counts neither as passed nor as failed."
}

// excused says what is absent with its reason.
func (m *Maker) excused() []string {
	var out []string
	for i := range m.Judgement.Results {
		if r := &m.Judgement.Results[i]; r.Outcome == finding.Excused && !r.PerLab {
			out = append(out, r.Title+": "+r.Message)
		}
	}
	return out
}

// named is how a result names its rule.
func named(r *finding.Result) string { return strings.TrimSpace(r.Rule + " " + r.Version) }

// title is what the study is called: its kind and day.
func title(s *echo.Study, protocols finding.Protocols) string {
	out := "Echo record"
	if protocols.Base.Title != "" {
		out += " judged as " + protocols.Base.Title
	}
	if s.StudyDate != "" {
		out += ", study of " + s.StudyDate
	}
	return out
}
