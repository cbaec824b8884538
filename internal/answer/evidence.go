package answer

import (
	"fmt"
	"slices"
	"time"

	"echotally/internal/echo"
	"echotally/internal/finding"
)

// Evidence lists all that the result of the rule rests on: values with those of
// the earlier study they are compared with, statements, segments, images.
func (a *Answers) Evidence() []finding.Evidence {
	return append(a.datedEvidence(a.evidence()), a.imageEvidence()...)
}

// evidence lists the values and statements the result rests on, the value that
// counts first.
func (a *Answers) evidence() []finding.Evidence {
	n := 0
	for _, name := range a.Rule.Names() {
		if b := a.Binding(name); b != nil {
			n += len(b.Items)
		}
	}
	out := make([]finding.Evidence, 0, n)
	for _, name := range a.Rule.Names() {
		if b := a.Binding(name); b != nil {
			out = b.evidence(out, name)
		}
		if s, ok := a.Rule.Statements[name]; ok {
			for _, d := range s.Definitions {
				for _, st := range a.saidOf(d) {
					out = append(out, finding.Evidence{Alias: name, Statement: st})
				}
			}
		}
	}
	if len(out) == 0 {
		out = a.excluding()
	}
	return append(out, a.wallEvidence()...)
}

// excluding lists, where the result rests on nothing but what is not said, what is said
// instead: another statement of the group, behind the values for which the rule holds.
// It is empty where nothing else is said.
func (a *Answers) excluding() []finding.Evidence {
	var instead []finding.Evidence
	for _, name := range a.Rule.Names() {
		s, ok := a.Rule.Statements[name]
		if !ok {
			continue
		}
		for _, d := range s.Definitions {
			for _, other := range a.Library.Statements.Definitions {
				if d.Group == "" || other.Group != d.Group || other.Identifier == d.Identifier {
					continue
				}
				for _, st := range a.saidOf(other) {
					if !st.Negated && !slices.ContainsFunc(instead, func(e finding.Evidence) bool { return e.Statement == st }) {
						instead = append(instead, finding.Evidence{Alias: name, Statement: st})
					}
				}
			}
		}
	}
	if len(instead) == 0 || a.Rule.When == nil {
		return instead
	}
	var out []finding.Evidence
	for _, in := range a.Rule.When.Inputs {
		if b := a.Binding(in.Name); b != nil {
			out = b.evidence(out, in.Name)
		}
	}
	return append(out, instead...)
}

// evidence adds the values to a list, by the name they are asked for by.
func (b *Binding) evidence(out []finding.Evidence, name string) []finding.Evidence {
	if b.Chosen.Measurement != nil {
		out = append(out, finding.Evidence{Alias: name, Measurement: b.Chosen.Measurement, Note: b.Note})
	}
	for _, i := range b.Items {
		if i.Measurement != b.Chosen.Measurement {
			note := ""
			if b.Chosen.Measurement == nil {
				note = b.Note
			}
			out = append(out, finding.Evidence{Alias: name, Measurement: i.Measurement, Note: note})
		}
	}
	return out
}

// datedEvidence puts the values of the earlier study behind those of this one,
// and says of every value from which study it is.
func (a *Answers) datedEvidence(list []finding.Evidence) []finding.Evidence {
	if a.Study.Prior == nil {
		return list
	}
	compared := a.Rule.Asks().Earlier
	var out []finding.Evidence
	for i, one := range list {
		b := a.Binding(one.Alias)
		if b == nil || !slices.Contains(compared, one.Alias) {
			out = append(out, one)
			continue
		}
		one.Note = FromStudy(one.Note, "this study", a.Study.StudyDate)
		if out = append(out, one); i+1 < len(list) && list[i+1].Alias == one.Alias {
			continue
		}
		word := "earlier study"
		if a.Study.Prior.Quoted {
			word += ", as this report quotes it"
		}
		for _, before := range a.past().bind(b.Alias).evidence(nil, one.Alias) {
			before.Note = FromStudy(before.Note, word, a.Study.Prior.StudyDate)
			out = append(out, before)
		}
	}
	return out
}

// FromStudy adds to a note from which study something is.
func FromStudy(note, study, date string) string {
	if t, err := time.Parse(DateLayout, date); err == nil {
		study += " of " + t.Format(time.DateOnly)
	}
	if note == "" {
		return study
	}
	return study + "; " + note
}

// wallEvidence lists what the study says of the segments, when the rule asks for
// it: each that is not normal, and of the others the first with their number.
func (a *Answers) wallEvidence() []finding.Evidence {
	if !a.Rule.Asks().Wall {
		return nil
	}
	var out []finding.Evidence
	alike := map[motion]int{}
	for _, p := range a.wall {
		if alike[p.moves]++; p.moves == abnormal || p.moves == untold || alike[p.moves] == 1 {
			for _, s := range p.said {
				out = append(out, finding.Evidence{Alias: "segment", Segment: s, Note: p.why})
			}
		}
	}
	for i, one := range out {
		for _, p := range a.wall {
			if n := alike[p.moves]; n > 1 && (p.moves == normal || p.moves == unseen) && slices.Contains(p.said, one.Segment) && one.Note == "" {
				out[i].Note = fmt.Sprintf("and %d more like it", n-1)
			}
		}
	}
	return out
}

// imageEvidence lists the images a result rests on.
func (a *Answers) imageEvidence() []finding.Evidence {
	var out []finding.Evidence
	for _, g := range a.galleries {
		for _, i := range g.sure {
			out = append(out, finding.Evidence{Alias: g.alias.Name, Image: i})
		}
	}
	var seen []int
	for _, name := range a.Rule.Asks().Shown {
		b := a.Binding(name)
		if b == nil {
			continue
		}
		if _, link := b.linkOf(); link != nil && !slices.Contains(seen, link.Image) {
			seen = append(seen, link.Image)
			out = append(out, finding.Evidence{Alias: name, Image: &a.Study.Images[link.Image], Note: linkNote(link)})
		}
	}
	return out
}

func linkNote(l *echo.Link) string {
	if l.Inferred {
		return "likely the image: " + l.Why
	}
	return l.Why
}

// Inference names the image a result rests on that is only likely the right
// one, "" when it rests on none such.
func (a *Answers) Inference() string {
	for _, name := range a.Rule.Asks().Shown {
		b := a.Binding(name)
		if b == nil {
			continue
		}
		if _, link := b.linkOf(); link != nil && link.Inferred {
			return fmt.Sprintf("likely from image %d: %s", a.Study.Images[link.Image].Number, link.Why)
		}
	}
	return ""
}
