// Package concern owns what of a judgement somebody has to be told with the objects it is
// about: what failed, what a person must look at, what could not be checked, what is
// absent with its reason.
package concern

import (
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/handback/source"
	"echotally/internal/judgement"
	"echotally/internal/layout"
	"echotally/internal/sr"
)

// Concern is a finding that somebody has to act on, with the objects it is about.
type Concern struct {
	Result  *finding.Result
	Objects []sr.InstanceReference
	Items   []string // position paths of content items
}

// Of are the findings of the study as they stand on its gap sheet, the gravest
// first: what failed, and what a person must look at. What is a matter of how the lab
// reports is on no sheet.
func Of(j *judgement.Judgement, study *echo.Study, from *source.Source) []Concern {
	var out []Concern
	for i := range j.Results {
		r := &j.Results[i]
		if r.Outcome != finding.Fail && r.Outcome != finding.Review || r.PerLab {
			continue
		}
		out = append(out, of(r, study, from))
	}
	slices.SortStableFunc(out, func(a, b Concern) int { return Rank(b.Result) - Rank(a.Result) })
	return out
}

// Rank puts errors first, then warnings and what is to be looked at, then notes.
func Rank(r *finding.Result) int {
	if r.Outcome == finding.Review {
		return finding.Warning.Rank()
	}
	return r.Severity.Rank()
}

func of(r *finding.Result, study *echo.Study, from *source.Source) Concern {
	c := Concern{Result: r}
	for i := range r.Evidence {
		e := &r.Evidence[i]
		at := e.Reference
		if at.Earlier || !c.add(from, at.SOPInstanceUID) {
			continue
		}
		if at.Item != "" && !slices.Contains(c.Items, at.Item) {
			c.Items = append(c.Items, at.Item)
		}
		if e.Measurement != nil {
			for _, image := range e.Measurement.Images {
				c.add(from, image.SOPInstanceUID)
			}
		}
	}
	if len(c.Objects) == 0 { // of what is missing nothing can be shown but where it should stand
		c.Objects = Reports(study, from)
	}
	return c
}

// add adds an object of the study once, false when it is none that is at hand.
func (c *Concern) add(from *source.Source, uid string) bool {
	ref, known := from.Object(uid)
	if known && !slices.ContainsFunc(c.Objects, func(o sr.InstanceReference) bool { return o.SOPInstanceUID == uid }) {
		c.Objects = append(c.Objects, ref)
	}
	return known
}

// Reports are the reports that count, as far as they are at hand.
func Reports(study *echo.Study, from *source.Source) []sr.InstanceReference {
	var out []sr.InstanceReference
	for i := range study.Documents {
		d := &study.Documents[i]
		if ref, known := from.Object(d.SOPInstanceUID); known && d.SupersededBy == "" {
			out = append(out, ref)
		}
	}
	return out
}

// Words say what was found, with what to do.
func (c *Concern) Words() string {
	r := c.Result
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
func Untold(j *judgement.Judgement) string {
	n := 0
	var lacks []string
	for i := range j.Results {
		r := &j.Results[i]
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

// Excused says what is absent with its reason.
func Excused(j *judgement.Judgement) []string {
	var out []string
	for i := range j.Results {
		if r := &j.Results[i]; r.Outcome == finding.Excused && !r.PerLab {
			out = append(out, r.Title+": "+r.Message)
		}
	}
	return out
}

// Rule is how the finding names its rule.
func (c *Concern) Rule() string { return strings.TrimSpace(c.Result.Rule + " " + c.Result.Version) }

// Title is what the study is called: its kind and day.
func Title(s *echo.Study, protocols finding.Protocols) string {
	out := "Echo record"
	if protocols.Base.Title != "" {
		out += " judged as " + protocols.Base.Title
	}
	if s.StudyDate != "" {
		out += ", study of " + s.StudyDate
	}
	return out
}
