package rule

import (
	"slices"

	"echotally/internal/expr"
)

// aboutPrior reports whether what the rule demands can only be answered by an
// earlier study; such a rule is not put to a study that has none.
func (c *compilation) aboutPrior() bool {
	r := c.rule
	for _, p := range []*expr.Program{r.Require, r.Review, r.When} {
		if p != nil && slices.ContainsFunc(p.Inputs, expr.Input.AboutPrior) {
			return true
		}
	}
	return slices.ContainsFunc(r.File.Forbid, func(f string) bool { return f == BirthDateDiffers || f == SexDiffers })
}

// examplePrior checks what an example says of its earlier study.
func (c *compilation) examplePrior(path string, p ExamplePrior) {
	c.sex(path+".sex", p.Sex)
	if !slices.Contains([]string{"", "agrees", "differs", "unknown"}, p.BirthDate) {
		c.fault(path+".birthDate", "unknown word "+p.BirthDate, "agrees, differs or unknown")
	}
	if p.Days < 0 {
		c.fault(path+".days", "the earlier study lies before the study", "a number of days above nought")
	}
}
