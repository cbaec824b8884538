package audit

import (
	"cmp"
	"slices"
	"strings"

	"echotally/internal/library"

	"echotally/internal/echo"
	"echotally/internal/term"
)

// NotRecorded is the name of what no report and no image header tells.
const NotRecorded = "(not recorded)"

// Medium is what was received of a study and how it was done, as far as the
// record tells.
type Medium struct {
	Modality    string   `cbor:"1,keyasint,omitempty"` // such as "transthoracic" or "stress, transoesophageal"; "" not recorded
	Transducers []string `cbor:"2,keyasint,omitempty"` // types in the image headers, sorted
}

// mediumOf reads the modality from what the reports state, which the testing
// areas of echo labs go by; where they state none, the stated views tell it.
func mediumOf(s *echo.Study, set *library.Library) Medium {
	var stated []string
	for _, way := range set.Statements.Ways() {
		if slices.ContainsFunc(s.Statements, func(st echo.Statement) bool { return !st.Negated && st.Identifier == way.Identifier }) {
			stated = append(stated, way.Done.As)
		}
	}
	out := Medium{Modality: strings.Join(stated, ", ")}
	if len(stated) == 0 {
		out.Modality = fromViews(s, set.Terms)
	}
	for i := range s.Images {
		if kind := strings.TrimSpace(s.Images[i].TransducerType); kind != "" && !slices.Contains(out.Transducers, kind) {
			out.Transducers = append(out.Transducers, own(kind))
		}
	}
	slices.Sort(out.Transducers)
	return out
}

// fromViews tells the modality by the first view of a measurement or an image
// that tells it: one from a window on the chest, or from the oesophagus. Other
// views are got from either.
func fromViews(s *echo.Study, terms *term.Catalogue) string {
	for i := range s.Measurements {
		if v := s.Measurements[i].Modifiers.ImageView; v != nil {
			if told := fromView(terms.Of(term.ImageView, v.Concept.Key())); told != "" {
				return told
			}
		}
	}
	for i := range s.Images {
		if v := s.Images[i].View; v != nil {
			if told := fromView(terms.Of(term.ImageView, v.Concept.Key())); told != "" {
				return told
			}
		}
	}
	return ""
}

func fromView(view *term.Term) string {
	if view == nil {
		return ""
	}
	return view.How
}

// received names what came of the study.
func (s *Study) received() string {
	switch {
	case s.Unread && s.Images > 0:
		return "images, no readable report"
	case s.Unread:
		return "no readable report"
	case s.Images > 0:
		return "report and images"
	}
	return "report only"
}

// mediumVolumes are the rows of the volumes by modality, transducer and what was
// received. A study with several transducers counts under each.
func (r *builder) mediumVolumes(t *Table) {
	modality, transducer, received := map[string]int{}, map[string]int{}, map[string]int{}
	for _, s := range r.now {
		modality[cmp.Or(s.Medium.Modality, NotRecorded)]++
		received[s.received()]++
		for _, kind := range s.Medium.Transducers {
			transducer[kind]++
		}
		if len(s.Medium.Transducers) == 0 {
			transducer[NotRecorded]++
		}
	}
	for _, one := range []struct {
		by     string
		counts map[string]int
	}{{"modality", modality}, {"transducer", transducer}, {"received", received}} {
		for _, name := range sortedNames(one.counts) {
			t.Add(TextCell(one.by), TextCell(name), CountCell(one.counts[name]))
		}
		if _, told := one.counts[NotRecorded]; !told && one.by != "received" {
			t.Add(TextCell(one.by), TextCell(NotRecorded), CountCell(0))
		}
	}
}
