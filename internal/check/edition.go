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
// than one. An edition rarely gives every number of a rule: those it gives are
// named, so that nobody takes the default's for its own.
func (e *evaluation) editionNote() string {
	var own []string
	several := false
	for _, name := range slices.Sorted(maps.Keys(e.rule.Parameters)) {
		p := e.rule.Parameters[name]
		several = several || slices.ContainsFunc(p.Cases, func(c rule.Case) bool { return c.Edition != "" })
		if c := e.caseOf(p); c != nil && c.Edition != "" {
			own = append(own, name)
		}
	}
	chosen := e.set.Edition
	switch {
	case !several:
		return ""
	case chosen == rule.DefaultEdition:
		return "Limits of edition " + chosen + "."
	case len(own) == 0:
		return fmt.Sprintf("Edition %s has no limit here; that of %s judged.", chosen, rule.DefaultEdition)
	}
	return fmt.Sprintf("Edition %s judged by its own %s; every other number is as in %s.", chosen, strings.Join(own, ", "), rule.DefaultEdition)
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
