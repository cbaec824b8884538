package check

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"echotally/internal/answer"
	"echotally/internal/rule"
)

// editionNote says which edition's numbers judged, for a rule that has more
// than one. An edition rarely gives every number of a rule: those it gives are
// named, so that nobody takes the default's for its own.
func editionNote(a *answer.Answers) string {
	if len(a.Rule.File.AppliesTo.Edition) > 0 {
		return "A rule of edition " + a.Library.Edition + "."
	}
	var own []string
	several := false
	for _, name := range slices.Sorted(maps.Keys(a.Rule.Parameters)) {
		p := a.Rule.Parameters[name]
		several = several || slices.ContainsFunc(p.Cases, func(c rule.Case) bool { return c.Edition != "" })
		if c := a.CaseOf(p); c != nil && c.Edition != "" {
			own = append(own, name)
		}
	}
	chosen := a.Library.Edition
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
