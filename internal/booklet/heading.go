package booklet

import (
	"fmt"
	"time"

	"echotally/internal/audit"
)

// Heading is what every format says of a document as a whole.
type Heading struct {
	Title, Lab, Cutoff, Created, Software, RuleSet, Edition string
}

// HeadingOf takes the state of the data and the rule set from the options.
func HeadingOf(title, lab string, o audit.Options) Heading {
	return Heading{
		Title: title, Lab: lab, Cutoff: o.Cutoff.UTC().Format("2006-01-02 15:04 MST"),
		Created: o.Created.UTC().Format(time.RFC3339), Software: o.Software, RuleSet: o.RuleSet, Edition: o.Edition,
	}
}

// Foot is what stands at the foot of every page, since pages get separated.
func (h Heading) Foot() string {
	return fmt.Sprintf("%s, %s; %s; rule set %s, guideline edition %s; data to %s; %s", h.Title, h.Lab, h.Software, h.RuleSet, h.Edition, h.Cutoff, h.Created[:len("2006-01-02")])
}
