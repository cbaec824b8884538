package accreditation

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"slices"

	"echotally/internal/audit"
	"echotally/internal/counted"
)

// list adds the studies behind a figure, each by a code of this binder and its month,
// in the order of the codes, which says nothing of theirs. Of returns the cells of a
// study, nil for one that is not behind it.
func (w *work) list(name, title string, columns []audit.Column, of func(*counted.Study) []audit.Cell) {
	t := audit.Table{
		Identifier: "studies-" + name, Title: "Studies behind it: " + title, Unprinted: true,
		Note: "Every study of the period by a code of this binder, from which the lab alone can find it, since it follows from the ledger's key.",
		Columns: append([]audit.Column{
			{Identifier: "study", Title: "Study", Kind: audit.Words, Meaning: "code of this binder"}, {Identifier: "month", Title: "Month", Kind: audit.Words, Meaning: "month of the study"},
		}, columns...),
	}
	if slices.ContainsFunc(w.binder.Tables, func(o audit.Table) bool { return o.Identifier == t.Identifier }) {
		return
	}
	for i := range w.m.Studies {
		if cells := of(&w.m.Studies[i]); cells != nil {
			t.Add(append([]audit.Cell{audit.TextCell(w.code(w.m.Studies[i].UID)), audit.TextCell(w.m.Studies[i].Date.Format("2006-01"))}, cells...)...)
		}
	}
	slices.SortFunc(t.Rows, func(a, b []audit.Cell) int { return cmp.Compare(a[0].Text, b[0].Text) })
	w.binder.Tables = append(w.binder.Tables, t)
}

// code names a study in this binder.
func (w *work) code(study string) string {
	sum := sha256.Sum256([]byte(w.mark("study", study)))
	return "study-" + hex.EncodeToString(sum[:5])
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}
