package rulebook

import (
	"slices"
	"strings"

	"echotally/internal/account"
	"echotally/internal/catalogue"
	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/internal/stats"
	"echotally/internal/web/frame"
)

func proportion(count, total int) stats.Proportion {
	return stats.Proportion{Count: count, Total: total}
}

// page is one rule as the template gets it.
type page struct {
	row
	Version    string
	Structure  string
	Parts      []catalogue.Part
	Numbers    []number
	Sources    []string
	Examples   []example
	Rates      *rates
	Change     *change // the form, nil for who may not propose
	Severities []option
	Proposals  []proposal // about this rule
}

type example struct{ Outcome, Title string }

// number is a number of the rule that a lab may set.
type number struct{ Name, Value, Unit, Origin, Words string }

type option struct {
	Value, Text string
	Chosen      bool
}

// Rule is the page of one rule.
func (p *Pages) Rule(c *frame.Call) error {
	lib, one, err := p.find(c)
	if err != nil {
		return err
	}
	v := &page{row: rowOf(one), Version: one.File.Version, Structure: strings.SplitN(one.File.Identifier, "/", 2)[0], Parts: catalogue.Parts(one)}
	if v.Rates, err = p.rates(c); err != nil {
		return err
	}
	v.Rate = v.Rates.of(one.File.Identifier)
	for _, n := range catalogue.NumbersOf(one) {
		v.Numbers = append(v.Numbers, number(n))
	}
	for _, a := range one.File.RelatedArtifact {
		v.Sources = append(v.Sources, a.String())
	}
	for _, e := range one.File.AllExamples() {
		v.Examples = append(v.Examples, example{outcomeWord(e.Outcome), e.Title})
	}
	if c.Session.Has(account.QualityManager) && slices.Contains(lib.Rules, one) {
		v.Change = &change{}
		v.Severities = severities(one.File.Severity)
	}
	if v.Proposals, err = p.proposals(c, one.File.Identifier); err != nil {
		return err
	}
	return c.Page(frame.View{Title: one.File.Title, Name: "rule", Data: v})
}

// find is the rule an address names.
func (p *Pages) find(c *frame.Call) (*library.Library, *rule.Rule, error) {
	lib := c.Lab.Desk().Library
	id := c.R.PathValue("structure") + "/" + c.R.PathValue("name")
	all := catalogue.All(lib)
	i := slices.IndexFunc(all, func(r *rule.Rule) bool { return r.File.Identifier == id })
	if i < 0 {
		return nil, nil, frame.ErrNotFound
	}
	return lib, all[i], nil
}

func outcomeWord(s string) string {
	return map[string]string{"notApplicable": "does not apply", "open": "cannot tell", "review": "to be looked at"}[s] + map[string]string{"pass": "met", "fail": "not met", "excused": "excused"}[s]
}

func severities(chosen string) []option {
	var out []option
	for _, s := range []string{"error", "warning", "information"} {
		out = append(out, option{s, severityWord(s), s == chosen})
	}
	return out
}
