// Package casemix owns the case-mix: what makes one study harder than another, and
// by which way it was done, as far as the record tells.
package casemix

import (
	"slices"
	"strings"
	"unique"

	"echotally/internal/echo"
	"echotally/internal/library"
	"echotally/internal/statement"
	"echotally/internal/term"
)

// Case is what makes one study harder than another.
type Case struct {
	Sex         string  `cbor:"2,keyasint,omitempty"`
	Arrhythmia  bool    `cbor:"3,keyasint,omitempty"` // atrial fibrillation or flutter stated
	PoorWindows bool    `cbor:"4,keyasint,omitempty"` // the record states poor or missing windows
	BodySize    float64 `cbor:"5,keyasint,omitempty"` // body surface area, m2; 0 unknown
	Quality     string  `cbor:"6,keyasint,omitempty"` // of the images, as the record states it; "" when it does not, or states several
}

// Medium is what was received of a study and how it was done, as far as the
// record tells.
type Medium struct {
	Modality    string   `cbor:"1,keyasint,omitempty"` // such as "transthoracic" or "stress, transoesophageal"; "" not recorded
	Transducers []string `cbor:"2,keyasint,omitempty"` // types in the image headers, sorted
}

// MediumOf reads the modality from what the reports state, which the testing
// areas of echo labs go by; where they state none, the stated views tell it.
func MediumOf(s *echo.Study, set *library.Library) Medium {
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
			out.Transducers = append(out.Transducers, unique.Make(kind).Value())
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

// Of reads from a study what makes it harder than another.
func Of(s *echo.Study, set *library.Library) Case {
	c := Case{Sex: unique.Make(s.Subject.PatientSex).Value()}
	var stated []string
	for i := range s.Statements {
		def := set.Statements.Find(s.Statements[i].Identifier)
		if def == nil || s.Statements[i].Negated {
			continue
		}
		c.Arrhythmia = c.Arrhythmia || def.Harder == statement.Arrhythmia
		c.PoorWindows = c.PoorWindows || def.Harder == statement.PoorWindows
		if def.Quality > 0 {
			stated = append(stated, QualityOf(def.Identifier, def.Group))
		}
	}
	slices.Sort(stated)
	if stated = slices.Compact(stated); len(stated) == 1 {
		c.Quality = unique.Make(stated[0]).Value()
	}
	for i := range s.Measurements {
		if m := &s.Measurements[i]; m.Measurand == "body-surface-area" && m.Canonical != nil {
			c.BodySize = m.Canonical.Value.Float()
		}
	}
	return c
}

// QualityOf is the grade a statement of image quality names.
func QualityOf(identifier, group string) string { return strings.TrimPrefix(identifier, group+"-") }
