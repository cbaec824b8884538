package accreditation

import (
	"fmt"
	"strings"

	"echotally/internal/table"
)

// Requirements is the binder as a table: every requirement with its status.
func (b *Binder) Requirements() table.Table {
	t := table.Table{
		Identifier: "requirements", Title: "Requirements",
		Note: "Wording ours, after " + b.Set.Source + ". Shown by data: counted in the ledger. Shown by attachment: a file of the lab, whose SHA-256 stands in the list of files. Nothing is shown by default.",
		Columns: []table.Column{
			{Identifier: "section", Title: "Section", Kind: table.Words, Meaning: "of the source"}, {Identifier: "requirement", Title: "Requirement", Kind: table.Words, Meaning: "in our own words"},
			{Identifier: "status", Title: "Status", Kind: table.Words, Meaning: "how far it is shown"}, {Identifier: "evidence", Title: "Evidence", Kind: table.Words, Meaning: "what shows it"},
			{Identifier: "gap", Title: "Gap", Kind: table.Words, Meaning: "what is missing and what would close it"}, {Identifier: "identifier", Title: "Name", Kind: table.Words, Meaning: "name of the requirement, for attachments"},
		},
	}
	for _, r := range b.Rows {
		text := r.Text
		if r.Seen != "" {
			text += " (" + r.Seen + ")"
		}
		t.Add(table.TextCell(r.Section), table.TextCell(text), table.TextCell(string(r.Status)), table.TextCell(strings.Join(r.Evidence, "; ")), table.TextCell(r.Gap), table.TextCell(r.Identifier))
	}
	return t
}

// Open are the requirements that are not wholly shown, as a table of one page.
func (b *Binder) Open() table.Table {
	t := table.Table{
		Identifier: "open", Title: "What is still open", Note: "Requirements that are not wholly shown, and what would close them.",
		Columns: []table.Column{
			{Identifier: "section", Title: "Section", Kind: table.Words, Meaning: "of the source"}, {Identifier: "requirement", Title: "Requirement", Kind: table.Words, Meaning: "in our own words"},
			{Identifier: "status", Title: "Status", Kind: table.Words, Meaning: "how far it is shown"}, {Identifier: "closes", Title: "What would close it", Kind: table.Words, Meaning: "what is missing"},
			{Identifier: "identifier", Title: "Name", Kind: table.Words, Meaning: "name of the requirement, for attachments"},
		},
	}
	for _, r := range b.Rows {
		if r.Status == Partly || r.Status == NotShown {
			t.Add(table.TextCell(r.Section), table.TextCell(r.Text), table.TextCell(string(r.Status)), table.TextCell(r.Gap), table.TextCell(r.Identifier))
		}
	}
	return t
}

// Files are the attachments, with what they hold by hash.
func (b *Binder) Files() table.Table {
	t := table.Table{
		Identifier: "attachments", Title: "Attached files", Note: "The files are kept by the lab; a file is the one that was attached when its SHA-256 is the same.",
		Columns: []table.Column{
			{Identifier: "requirement", Title: "Requirement", Kind: table.Words, Meaning: "name of the requirement"}, {Identifier: "file", Title: "File", Kind: table.Words, Meaning: "name of the file"},
			{Identifier: "bytes", Title: "Bytes", Kind: table.Count, Meaning: "its size"}, {Identifier: "sha256", Title: "SHA-256", Kind: table.Words, Meaning: "of what it holds"},
		},
	}
	for _, r := range b.Rows {
		for _, f := range r.Files {
			t.Add(table.TextCell(r.Identifier), table.TextCell(f.Name), table.CountCell(int(f.Bytes)), table.TextCell(f.SHA256))
		}
	}
	return t
}

// Short says how many requirements have each status.
func (b *Binder) Short() []string {
	counts := map[Status]int{}
	for _, r := range b.Rows {
		counts[r.Status]++
	}
	var out []string
	for _, s := range []Status{ByData, ByAttachment, Partly, NotShown, NotApplicable} {
		if counts[s] > 0 {
			out = append(out, fmt.Sprintf("%d of %d requirements: %s", counts[s], len(b.Rows), s))
		}
	}
	return out
}
