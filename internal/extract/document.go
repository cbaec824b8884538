package extract

import (
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/sr"
)

// inOrder sorts documents by content time, then by UID.
func inOrder(docs []*sr.Document) []*sr.Document {
	out := slices.Clone(docs)
	slices.SortStableFunc(out, func(a, b *sr.Document) int {
		if d := strings.Compare(contentTime(a), contentTime(b)); d != 0 {
			return d
		}
		return strings.Compare(a.SOPInstanceUID, b.SOPInstanceUID)
	})
	return out
}

func contentTime(d *sr.Document) string { return d.ContentDate + d.ContentTime }

// replacement says which document stands in for another, and why.
type replacement struct {
	by     string // SOP Instance UID
	at     int    // index of that document
	reason string
}

// supersession tells, per document in order, what replaced it: a document that
// names it as predecessor, else the next complete one of the same series when
// it is itself preliminary or partial. A chain that would bite its own tail is
// not followed.
func supersession(docs []*sr.Document) []*replacement {
	out := make([]*replacement, len(docs))
	set := func(old, by int, reason string) {
		if old == by || out[old] != nil {
			return
		}
		for i := by; out[i] != nil; i = out[i].at {
			if out[i].at == old {
				return
			}
		}
		out[old] = &replacement{docs[by].SOPInstanceUID, by, reason}
	}
	for by, doc := range docs {
		for _, p := range doc.PredecessorDocuments {
			for old := range docs {
				if docs[old].SOPInstanceUID == p.SOPInstanceUID {
					set(old, by, "named as predecessor document by the later report")
				}
			}
		}
	}
	for old, doc := range docs {
		if !unfinished(doc) {
			continue
		}
		for by := old + 1; by < len(docs); by++ {
			later := docs[by]
			if later.SeriesInstanceUID != "" && later.SeriesInstanceUID == doc.SeriesInstanceUID && !unfinished(later) && later.CompletionFlag == "COMPLETE" &&
				later.ContentItem.ConceptName.Key() == doc.ContentItem.ConceptName.Key() {
				set(old, by, "preliminary or partial; a complete report of the same series follows")
				break
			}
		}
	}
	return out
}

func unfinished(d *sr.Document) bool {
	return d.PreliminaryFlag == "PRELIMINARY" || d.CompletionFlag == "PARTIAL"
}

// document summarizes a report for the checks of form.
func document(doc *sr.Document) echo.Document {
	out := echo.Document{
		SOPInstanceUID: doc.SOPInstanceUID, SOPClassUID: doc.SOPClassUID, SeriesInstanceUID: doc.SeriesInstanceUID,
		TemplateIdentifier: doc.TemplateIdentifier, CompletionFlag: doc.CompletionFlag, VerificationFlag: doc.VerificationFlag,
		ContentTime: contentTime(doc), Equipment: equipment(doc), Partial: len(doc.Losses) > 0,
	}
	for _, d := range doc.Deviations {
		out.Deviations = append(out.Deviations, echo.Deviation(d))
	}
	sr.Walk(&doc.ContentItem, func(item *sr.ContentItem, ancestors []*sr.ContentItem) bool {
		for _, o := range doc.ContextOf(item, nil).Observers {
			if text := o.String(); !slices.Contains(out.Observers, text) {
				out.Observers = append(out.Observers, text)
			}
		}
		return true
	})
	return out
}
