package check

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"echotally/internal/expr"
	"echotally/internal/rule"
)

// editionNote says which edition's numbers judged, for a rule that has more
// than one: an edition rarely gives every number, and a reader who trusts one
// must see where the default stood in for it.
func (e *evaluation) editionNote() string {
	var own, other []string
	for _, name := range slices.Sorted(maps.Keys(e.rule.Parameters)) {
		p := e.rule.Parameters[name]
		if !slices.ContainsFunc(p.Cases, func(c rule.Case) bool { return c.Edition != "" }) {
			continue
		}
		if c := e.caseOf(p); c != nil && c.Edition != "" {
			own = append(own, name)
		} else {
			other = append(other, name)
		}
	}
	chosen := e.set.Edition
	switch {
	case len(own)+len(other) == 0:
		return ""
	case chosen == rule.DefaultEdition, len(other) == 0:
		return "Limits of edition " + chosen + "."
	case len(own) == 0:
		return fmt.Sprintf("Edition %s has no limit here; that of %s judged.", chosen, rule.DefaultEdition)
	}
	return fmt.Sprintf("Limits of edition %s (%s), of %s where it has none (%s).", chosen, strings.Join(own, ", "), rule.DefaultEdition, strings.Join(other, ", "))
}

// caseOf is the case of a parameter for this patient and edition; nil when none
// fits or when it cannot be told which.
func (e *evaluation) caseOf(p *rule.Parameter) *rule.Case {
	for i, c := range p.Cases {
		switch e.fits(c) {
		case expr.True:
			return &p.Cases[i]
		case expr.Unknown:
			return nil
		}
	}
	return nil
}

// fits reports whether a case is meant for this patient and edition.
func (e *evaluation) fits(c rule.Case) expr.Truth {
	if c.Edition != "" && c.Edition != e.set.Edition {
		return expr.False
	}
	fits := within(c.Age, e.study.Subject.AgeYears)
	if c.Sex != "" {
		fits = both(fits, isSex(e.study.Subject.PatientSex, c.Sex))
	}
	return fits
}
