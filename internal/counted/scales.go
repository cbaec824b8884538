package counted

import (
	"echotally/internal/casemix"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/term"
)

// Scales are what the tables of an audit take from the rule files.
type Scales struct {
	Grades    []string // steps of the grades of lesions, the least first
	Qualities []string // grades of image quality, the best first
	CutOffs   []Threshold
}

// Threshold is a cut-off of a measurand at which values may heap.
type Threshold struct {
	Measurand string
	measurand.CutOff
}

// ScalesOf reads the scales of a rule library.
func ScalesOf(set *library.Library) Scales {
	out := Scales{Grades: set.Terms.Ordered(term.Grade)}
	for _, d := range set.Statements.Qualities() {
		out.Qualities = append(out.Qualities, casemix.QualityOf(d.Identifier, d.Group))
	}
	for _, m := range set.Measurands.Measurands {
		for _, c := range m.CutOffs {
			out.CutOffs = append(out.CutOffs, Threshold{m.Identifier, c})
		}
	}
	return out
}
