package booklet

import (
	"io"

	"echotally/internal/layout"
	"echotally/internal/table"
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
	Tables          []Record        `json:"tables"`
}

type passageRecord struct {
	Title string   `json:"title"`
	Lines []string `json:"lines"`
}

func (b *Booklet) json(w io.Writer) error {
	h := b.heading()
	out := documentRecord{
		SchemaVersion: SchemaVersion, Caution: layout.Caution, Document: b.Name, Title: b.Title, Of: b.Of, Lab: b.Options.Lab, Cutoff: h.Cutoff,
		Created: h.Created, SoftwareVersion: h.Software, RuleSet: h.RuleSet, Edition: h.Edition, Front: []passageRecord{}, Tables: []Record{},
	}
	for _, p := range b.Front {
		out.Front = append(out.Front, passageRecord{p.Title, append([]string{}, p.Lines...)})
	}
	for _, t := range b.Tables {
		out.Tables = append(out.Tables, RecordOf(t))
	}
	return layout.Encode(w, true, out)
}

// Record is a table as machines get it.
type Record struct {
	Identifier string         `json:"identifier"`
	Title      string         `json:"title"`
	Note       string         `json:"note"`
	Columns    []ColumnRecord `json:"columns"`
	Rows       [][]any        `json:"rows"`
}

// ColumnRecord is a column of it.
type ColumnRecord struct {
	Identifier string `json:"identifier"`
	Title      string `json:"title"`
	Kind       string `json:"kind"`
	Meaning    string `json:"meaning"`
}

// RecordOf gives shares and estimates in their parts, and null for what is none.
func RecordOf(t table.Table) Record {
	out := Record{Identifier: t.Identifier, Title: t.Title, Note: t.Note, Rows: [][]any{}}
	for _, c := range machineColumns(t) {
		out.Columns = append(out.Columns, ColumnRecord{c.Identifier, c.Title, string(c.Kind), c.Meaning})
	}
	for _, row := range t.Rows {
		out.Rows = append(out.Rows, machineCells(t, row))
	}
	return out
}
