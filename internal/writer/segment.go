package writer

import (
	"strings"

	"echotally/internal/echo"
	"echotally/internal/writer/withhold"
)

// segmentText is how a part of the wall moves: Hypokinesis, score 2.
func segmentText(s *echo.Segment) string {
	var parts []string
	if s.Finding != nil {
		parts = append(parts, s.Finding.CodeMeaning)
	}
	if s.Score != nil {
		parts = append(parts, "score "+s.Score.Value.Text())
	}
	if s.Stage != nil {
		parts = append(parts, s.Stage.Concept.CodeMeaning)
	}
	if len(parts) == 0 {
		return "no score that could be read"
	}
	return strings.Join(parts, ", ")
}

// wallSection lists what the reports of the study say of the wall's segments;
// none when they say nothing.
func (b *sheetBuilder) wallSection() []measurementSection {
	study := b.study.Study
	out := measurementSection{Title: "Segments of the left ventricular wall"}
	for i := range study.Segments {
		s := &study.Segments[i]
		line := evidenceLine{What: s.Site.CodeMeaning, Written: b.withhold.From(segmentText(s)), Where: b.where(s.Source)}
		if s.Scheme != nil && (i == 0 || study.Segments[i-1].Scheme == nil || study.Segments[i-1].Scheme.Key() != s.Scheme.Key()) {
			line.Note = s.Scheme.CodeMeaning // until another is named
		}
		out.Lines = append(out.Lines, line)
	}
	if len(out.Lines) == 0 {
		return nil
	}
	return []measurementSection{out}
}

// segmentRecord is what one item says of a segment. Schema file:
// schema/read.schema.json.
type segmentRecord struct {
	Site           string   `json:"site"`
	SiteMeaning    string   `json:"siteMeaning"`
	Finding        string   `json:"finding,omitempty"`
	FindingMeaning string   `json:"findingMeaning,omitempty"`
	Score          *float64 `json:"score"`
	Scheme         string   `json:"scheme,omitempty"`
	Stage          string   `json:"stage,omitempty"`
	SOPInstanceUID string   `json:"sopInstanceUID"`
	Item           string   `json:"item"`
}

func segmentRecords(study *echo.Study) []segmentRecord {
	var out []segmentRecord
	who := withhold.New(study.Identity)
	for _, s := range study.Segments {
		r := segmentRecord{Site: s.Site.Key().String(), SiteMeaning: s.Site.CodeMeaning, SOPInstanceUID: s.Source.SOPInstanceUID, Item: s.Source.Item}
		if s.Finding != nil {
			r.Finding, r.FindingMeaning = s.Finding.Key().String(), who.From(s.Finding.CodeMeaning)
		}
		if s.Score != nil {
			x := s.Score.Value.Float()
			r.Score = &x
		}
		if s.Scheme != nil {
			r.Scheme = s.Scheme.Key().String()
		}
		if s.Stage != nil {
			r.Stage = s.Stage.Concept.Key().String()
		}
		out = append(out, r)
	}
	return out
}
