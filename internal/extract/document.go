package extract

import (
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/sr"
)

// inOrder sorts reports by content time, then by UID.
func inOrder(reports []*echo.Study) []*echo.Study {
	out := slices.Clone(reports)
	slices.SortStableFunc(out, func(x, y *echo.Study) int {
		a, b := &x.Documents[0], &y.Documents[0]
		if d := strings.Compare(a.ContentTime, b.ContentTime); d != 0 {
			return d
		}
		return strings.Compare(a.SOPInstanceUID, b.SOPInstanceUID)
	})
	return out
}

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
func supersession(docs []echo.Document) []*replacement {
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
	for by := range docs {
		for _, p := range docs[by].Predecessors {
			for old := range docs {
				if docs[old].SOPInstanceUID == p {
					set(old, by, "named as predecessor document by the later report")
				}
			}
		}
	}
	for old := range docs {
		doc := &docs[old]
		if !unfinished(doc) {
			continue
		}
		for by := old + 1; by < len(docs); by++ {
			later := &docs[by]
			if later.SeriesInstanceUID != "" && later.SeriesInstanceUID == doc.SeriesInstanceUID && !unfinished(later) && later.CompletionFlag == "COMPLETE" &&
				later.Title.Key() == doc.Title.Key() {
				set(old, by, "preliminary or partial; a complete report of the same series follows")
				break
			}
		}
	}
	return out
}

func unfinished(d *echo.Document) bool {
	return d.Preliminary || d.CompletionFlag == "PARTIAL"
}

// document summarizes a report for the checks of form.
func document(doc *sr.Document) echo.Document {
	out := echo.Document{
		SOPInstanceUID: doc.SOPInstanceUID, SOPClassUID: doc.SOPClassUID, SeriesInstanceUID: doc.SeriesInstanceUID,
		TemplateIdentifier: doc.TemplateIdentifier, CompletionFlag: doc.CompletionFlag, VerificationFlag: doc.VerificationFlag,
		ContentTime: doc.ContentDate + doc.ContentTime, Equipment: equipment(doc), Partial: len(doc.Losses) > 0,
		Title: *doc.ContentItem.ConceptName, Preliminary: doc.PreliminaryFlag == "PRELIMINARY",
	}
	for _, p := range doc.PredecessorDocuments {
		out.Predecessors = append(out.Predecessors, p.SOPInstanceUID)
	}
	for _, d := range doc.Deviations {
		out.Deviations = append(out.Deviations, echo.Deviation(d))
	}
	byDefault := false
	sr.Each(&doc.ContentItem, func(item *sr.ContentItem) bool {
		observers := item.Context().Observers
		if len(observers) == 0 {
			if byDefault {
				return true
			}
			observers, byDefault = doc.Authors, true
		}
		for _, o := range observers {
			if text := o.String(); !slices.Contains(out.Observers, text) {
				out.Observers = append(out.Observers, text)
			}
			if !o.Device {
				addPerson(&out, o.Name, taskOf(o.Role))
			}
		}
		return true
	})
	for _, list := range []struct {
		names []string
		task  echo.Task
	}{{doc.Operators, echo.Scanned}, {doc.ReadingPhysicians, echo.ReadIt}, {doc.Verifiers, echo.Verified}} {
		for _, name := range list.names {
			addPerson(&out, name, list.task)
		}
	}
	return out
}

func addPerson(d *echo.Document, name string, task echo.Task) {
	p := echo.Person{Name: echo.Protected(strings.TrimSpace(name)), Task: task}
	if p.Name != "" && !slices.Contains(d.Staff, p) {
		d.Staff = append(d.Staff, p)
	}
}

// tasks tells what an observer did from the role stated: CID 7452 and 7453 of
// PS3.16, the current codes and those of 2009.
var tasks = map[coding.Key]echo.Task{
	key("UMLS", "C1954848"): echo.Scanned, key("DCM", "121093"): echo.Scanned, // sonographer
	key("SCT", "159016003"): echo.Scanned, key("DCM", "121083"): echo.Scanned, // technologist
	key("DCM", "121094"):    echo.Scanned,                                   // performing
	key("SCT", "309343006"): echo.ReadIt, key("DCM", "121081"): echo.ReadIt, // physician
	key("SCT", "309390008"): echo.ReadIt, key("DCM", "121089"): echo.ReadIt, // consultant
	key("SCT", "405279007"): echo.ReadIt, key("UMLS", "C1441532"): echo.ReadIt, // attending, consulting physician
	key("NCIt", "C28747"): echo.ReadIt, // reader
	key("DCM", "121098"):  echo.Verified,
}

func taskOf(role coding.CodedConcept) echo.Task {
	if task, ok := tasks[role.Key()]; ok {
		return task
	}
	return echo.Observed
}
