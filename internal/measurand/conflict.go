package measurand

import (
	"fmt"
	"slices"

	"echotally/internal/coding"
)

// conflicts finds codings of one concept in two measurands that ask for the
// same kinds of conditions and can hold together: nothing but file order would
// decide between them.
func (l *loading) conflicts() {
	first := map[coding.Key][]candidateIndex{}
	for _, o := range l.order {
		g := &o.measurand.Codings[o.coding]
		for _, other := range first[g.ConceptName] {
			if other.measurand == o.measurand || !overlap(g, &other.measurand.Codings[other.coding]) {
				continue
			}
			here, there := l.places[o.measurand][o.coding], l.places[other.measurand][other.coding]
			l.fault(here.source, here.path, fmt.Sprintf("%s is coded for %s as well, under conditions that hold together (%s)",
				g.ConceptName, other.measurand.Identifier, there.source.name), "add a condition that tells the two apart, or remove one")
			break
		}
		first[g.ConceptName] = append(first[g.ConceptName], o)
	}
}

// overlap reports whether two codings ask for the same kinds of conditions and
// some measurement meets both.
func overlap(a, b *Coding) bool {
	if len(a.Conditions) != len(b.Conditions) {
		return false
	}
	for i, x := range a.Conditions {
		if y := b.Conditions[i]; x.Field != y.Field || !x.overlaps(y) {
			return false
		}
	}
	switch {
	case (a.Section == nil) != (b.Section == nil), a.Section != nil && !a.Section.overlaps(*b.Section):
		return false
	case (a.Dimension == nil) != (b.Dimension == nil), a.Dimension != nil && !a.Dimension.Convertible(*b.Dimension):
		return false
	}
	return sameText(a.ShortLabel, b.ShortLabel) && sameText(a.Manufacturer, b.Manufacturer)
}

func (c Condition) overlaps(d Condition) bool {
	return c.Absent && d.Absent || slices.ContainsFunc(c.Codes, func(k coding.Key) bool { return slices.Contains(d.Codes, k) })
}
