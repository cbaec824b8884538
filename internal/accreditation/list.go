package accreditation

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"slices"

	"echotally/internal/counted"
	"echotally/internal/table"
)

// list adds the studies behind a figure, each by a code of this binder and its month,
// in the order of the codes, which says nothing of theirs. Of returns the cells of a
// study, nil for one that is not behind it.
func (w *work) list(name, title string, columns []table.Column, of func(*counted.Study) []table.Cell) {
	t := table.Table{
		Identifier: "studies-" + name, Title: "Studies behind it: " + title, Unprinted: true,
		Note: "Every study of the period by a code of this binder, from which the lab alone can find it, since it follows from the ledger's key.",
		Columns: append([]table.Column{
			{Identifier: "study", Title: "Study", Kind: table.Words, Meaning: "code of this binder"}, {Identifier: "month", Title: "Month", Kind: table.Words, Meaning: "month of the study"},
		}, columns...),
	}
	if slices.ContainsFunc(w.binder.Tables, func(o table.Table) bool { return o.Identifier == t.Identifier }) {
		return
	}
	for i := range w.m.Studies {
		if cells := of(&w.m.Studies[i]); cells != nil {
			t.Add(append([]table.Cell{table.TextCell(w.code(w.m.Studies[i].UID)), table.TextCell(w.m.Studies[i].Date.Format("2006-01"))}, cells...)...)
		}
	}
	slices.SortFunc(t.Rows, func(a, b []table.Cell) int { return cmp.Compare(a[0].Text, b[0].Text) })
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
