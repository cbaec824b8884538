package booklet

import (
	"io"

	"echotally/internal/layout"
	"echotally/internal/table/record"
)

// documentRecord is a booklet as machines get it. Schema file:
// schema/booklet.schema.json.
type documentRecord struct {
	SchemaVersion   string          `json:"schemaVersion"`
	Caution         string          `json:"caution"`
	Document        string          `json:"document"`
	Title           string          `json:"title"`
	Of              string          `json:"of"`
	Lab             string          `json:"lab"`
	Cutoff          string          `json:"cutoff"`
	Created         string          `json:"created"`
	SoftwareVersion string          `json:"softwareVersion"`
	RuleSet         string          `json:"ruleSet"`
	Edition         string          `json:"edition"`
	Front           []passageRecord `json:"front"`
	Tables          []record.Record `json:"tables"`
}

type passageRecord struct {
	Title string   `json:"title"`
	Lines []string `json:"lines"`
}

func (b *Booklet) json(w io.Writer) error {
	h := b.heading()
	out := documentRecord{
		SchemaVersion: SchemaVersion, Caution: layout.Caution, Document: b.Name, Title: b.Title, Of: b.Of, Lab: b.Options.Lab, Cutoff: h.Cutoff,
		Created: h.Created, SoftwareVersion: h.Software, RuleSet: h.RuleSet, Edition: h.Edition, Front: []passageRecord{}, Tables: []record.Record{},
	}
	for _, p := range b.Front {
		out.Front = append(out.Front, passageRecord{p.Title, append([]string{}, p.Lines...)})
	}
	for _, t := range b.Tables {
		out.Tables = append(out.Tables, record.Of(t))
	}
	return layout.Encode(w, true, out)
}
