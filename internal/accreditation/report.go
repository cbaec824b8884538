package accreditation

import (
	"fmt"
	"strings"

	"echotally/internal/audit"
)

// Requirements is the binder as a table: every requirement with its status.
func (b *Binder) Requirements() audit.Table {
	t := audit.Table{
		Identifier: "requirements", Title: "Requirements",
		Note: "Wording ours, after " + b.Set.Source + ". Shown by data: counted in the ledger. Shown by attachment: a file of the lab, whose SHA-256 stands in the list of files. Nothing is shown by default.",
		Columns: []audit.Column{
			{Identifier: "section", Title: "Section", Kind: audit.Words, Meaning: "of the source"}, {Identifier: "requirement", Title: "Requirement", Kind: audit.Words, Meaning: "in our own words"},
			{Identifier: "status", Title: "Status", Kind: audit.Words, Meaning: "how far it is shown"}, {Identifier: "evidence", Title: "Evidence", Kind: audit.Words, Meaning: "what shows it"},
			{Identifier: "gap", Title: "Gap", Kind: audit.Words, Meaning: "what is missing and what would close it"}, {Identifier: "identifier", Title: "Name", Kind: audit.Words, Meaning: "name of the requirement, for attachments"},
		},
	}
	for _, r := range b.Rows {
		text := r.Text
		if r.Seen != "" {
			text += " (" + r.Seen + ")"
		}
		t.Add(audit.TextCell(r.Section), audit.TextCell(text), audit.TextCell(string(r.Status)), audit.TextCell(strings.Join(r.Evidence, "; ")), audit.TextCell(r.Gap), audit.TextCell(r.Identifier))
	}
	return t
}

// Open are the requirements that are not wholly shown, as a table of one page.
func (b *Binder) Open() audit.Table {
	t := audit.Table{
		Identifier: "open", Title: "What is still open", Note: "Requirements that are not wholly shown, and what would close them.",
		Columns: []audit.Column{
			{Identifier: "section", Title: "Section", Kind: audit.Words, Meaning: "of the source"}, {Identifier: "requirement", Title: "Requirement", Kind: audit.Words, Meaning: "in our own words"},
			{Identifier: "status", Title: "Status", Kind: audit.Words, Meaning: "how far it is shown"}, {Identifier: "closes", Title: "What would close it", Kind: audit.Words, Meaning: "what is missing"},
			{Identifier: "identifier", Title: "Name", Kind: audit.Words, Meaning: "name of the requirement, for attachments"},
		},
	}
	for _, r := range b.Rows {
		if r.Status == Partly || r.Status == NotShown {
			t.Add(audit.TextCell(r.Section), audit.TextCell(r.Text), audit.TextCell(string(r.Status)), audit.TextCell(r.Gap), audit.TextCell(r.Identifier))
		}
	}
	return t
}

// Files are the attachments, with what they hold by hash.
func (b *Binder) Files() audit.Table {
	t := audit.Table{
		Identifier: "attachments", Title: "Attached files", Note: "The files are kept by the lab; a file is the one that was attached when its SHA-256 is the same.",
		Columns: []audit.Column{
			{Identifier: "requirement", Title: "Requirement", Kind: audit.Words, Meaning: "name of the requirement"}, {Identifier: "file", Title: "File", Kind: audit.Words, Meaning: "name of the file"},
			{Identifier: "bytes", Title: "Bytes", Kind: audit.Count, Meaning: "its size"}, {Identifier: "sha256", Title: "SHA-256", Kind: audit.Words, Meaning: "of what it holds"},
		},
	}
	for _, r := range b.Rows {
		for _, f := range r.Files {
			t.Add(audit.TextCell(r.Identifier), audit.TextCell(f.Name), audit.CountCell(int(f.Bytes)), audit.TextCell(f.SHA256))
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
