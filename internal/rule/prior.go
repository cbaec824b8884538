package rule

import "slices"

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
