package rule

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"echotally/internal/datafile"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/question"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// Unmatched is the key of a measurement no measurand file knows, in the
// examples of a rule that forbids record faults.
const Unmatched = "unmatched"

// examples checks that the examples can be run and that each outcome the rule
// can come to is shown.
func (c *compilation) examples() {
	shown := map[finding.Outcome]bool{}
	for _, e := range c.file.AllExamples() {
		shown[finding.Outcome(e.Outcome)] = true
	}
	for i, e := range c.file.Examples {
		path := fmt.Sprintf("$.examples[%d]", i)
		c.example(path, e)
		if len(e.Beyond) > 0 {
			c.example(path+".beyond", e.beyond())
		}
	}
	for _, p := range c.file.AppliesTo.Protocol {
		c.protocolName("$.appliesTo.protocol", p)
	}
	if c.file.Status != "active" {
		return
	}
	for _, want := range c.mustShow() {
		if !shown[want] {
			c.fault("$.examples", fmt.Sprintf("no example comes to %s", want), "an active rule shows every outcome it can come to")
		}
	}
}

// example checks that an example can be run.
func (c *compilation) example(path string, e Example) {
	if e.Title == "" {
		c.fault(path, "an example without a title", "say what it shows")
	}
	if !slices.Contains([]finding.Outcome{finding.Pass, finding.Fail, finding.Open, finding.NotApplicable, finding.Review, finding.Excused}, finding.Outcome(e.Outcome)) {
		c.fault(path+".outcome", "unknown outcome "+e.Outcome, "pass, fail, open, notApplicable, review or excused")
	}
	c.given(path, e)
	c.exampleImages(path, e)
	c.exampleSegments(path, e.Segments)
	for _, names := range []Names{e.Stated, e.Denied} {
		c.saidList(path, names)
	}
	for _, p := range e.Protocol {
		c.protocolName(path+".protocol", p)
	}
	if e.Subject != nil {
		c.sex(path+".subject.sex", e.Subject.Sex)
		if e.Subject.Age != "" {
			if _, err := e.Subject.Years(); err != nil {
				c.fault(path+".subject.age", err.Error(), "write 60 years, or 6 months")
			}
		}
	}
}

// mustShow lists the outcomes the rule can come to.
func (c *compilation) mustShow() []finding.Outcome {
	out := []finding.Outcome{finding.Pass, finding.Fail}
	a := c.file.AppliesTo
	if c.canBeOpen() {
		out = append(out, finding.Open)
	}
	if c.rule.Review != nil || c.rule.ZScore != nil {
		out = append(out, finding.Review)
	}
	if len(c.rule.ExcusedBy) > 0 {
		out = append(out, finding.Excused)
	}
	if c.rule.AboutImages || c.rule.AboutPrior || a.Age != nil || a.Sex != "" || len(a.Stated) > 0 || len(a.Unless) > 0 || a.When != "" {
		out = append(out, finding.NotApplicable)
	}
	return out
}

// canBeOpen reports whether an input can be missing in a study the rule
// applies to.
func (c *compilation) canBeOpen() bool {
	r := c.rule
	if !r.Age.Any() || c.file.AppliesTo.Sex != "" || r.ZScore != nil {
		return true
	}
	settled := map[string]bool{}
	if r.When != nil {
		for _, in := range r.When.Inputs {
			settled[subject(in)] = true
		}
	}
	if r.Recompute != nil {
		open := !settled[r.Recompute.Stated]
		for _, form := range r.Recompute.Forms {
			open = open || c.leavesOpen(form.Value, settled)
		}
		return open
	}
	return r.Require != nil && c.leavesOpen(r.Require, settled)
}

func (c *compilation) leavesOpen(p *expr.Program, settled map[string]bool) bool {
	for _, in := range p.Inputs {
		guarded := slices.ContainsFunc(p.Inputs, func(o expr.Input) bool {
			return o.Name == in.Name && o.Question != nil && o.Question.Tests
		})
		if _, images := c.rule.Images[in.Name]; images || c.scope.AboutImages(in) && !alwaysKnown(in) && !asked(c.rule.When, in) {
			return true // headers may not say enough
		}
		parameter, isParameter := c.rule.Parameters[in.Name]
		if !settled[subject(in)] && !guarded && !alwaysKnown(in) && !(isParameter && len(parameter.Cases) == 0) {
			return true
		}
	}
	return false
}

// subject is what an input asks of: a name, or for want of one what is asked.
func subject(in expr.Input) string {
	if in.Name == "" {
		return in.Question.Name
	}
	return in.Name
}

// asked reports whether a condition asks for an input, so that nothing beyond it
// is left open.
func asked(p *expr.Program, in expr.Input) bool { return p != nil && slices.Contains(p.Inputs, in) }

// alwaysKnown reports whether a question has an answer even when nothing was
// measured.
func alwaysKnown(in expr.Input) bool {
	return in.Question != nil && in.Question.Guard == question.Always
}

func (c *compilation) given(path string, e Example) {
	c.givenValues(path+".given.", e.Given)
	if e.Prior != nil {
		c.givenValues(path+".prior.given.", e.Prior.Given)
		c.examplePrior(path+".prior", *e.Prior)
	}
}

func (c *compilation) exampleSegments(path string, all []ExampleSegments) {
	for i, s := range all {
		at := fmt.Sprintf("%s.segments[%d]", path, i)
		for _, one := range []struct {
			field term.Field
			name  string
		}{{term.FindingSite, s.Site}, {term.WallMotion, s.Finding}, {term.ScoringScheme, s.Scheme}, {term.Stage, s.Stage}} {
			if one.name != "" && one.name != OtherFinding {
				c.term(at, one.field, one.name)
			}
		}
		if _, _, err := ucum.ParseDecimal(string(s.Score)); s.Score != "" && err != nil {
			c.fault(at+".score", string(s.Score)+" is no number", "")
		}
	}
}

func (c *compilation) givenValues(path string, given map[string]GivenValues) {
	for _, name := range sortedKeys(given) {
		at := path + name
		_, alias := c.rule.Aliases[name]
		forbids := len(c.file.Forbid) > 0 && (name == Unmatched || c.Measurands.Find(name) != nil)
		scored := c.Measurands.Find(name) != nil && !slices.ContainsFunc(given[name], func(g Given) bool { return g.ZScore == "" })
		if !alias && !forbids && !scored {
			c.fault(at, "unknown alias "+name, cmp.Or(datafile.CommaHint(name), nearest(name, c.rule.Aliases)))
			continue
		}
		for _, g := range given[name] {
			if !forbids {
				c.givenValue(at, name, g)
			}
			for _, f := range g.Modifiers {
				for _, n := range f.Names {
					c.term(at, f.Field, n)
				}
			}
		}
	}
}

// givenValue checks that a value can be one of the alias: a wrong unit would make
// an example of something else.
func (c *compilation) givenValue(at, name string, g Given) {
	if g.Value == "" || g.Value == AnyValue {
		return
	}
	number, _, _ := strings.Cut(string(g.Value), " ")
	_, _, err := ucum.ParseDecimal(number)
	switch {
	case strings.Contains(number, ","): // reports may write it so, rule files do not
		c.fault(at, fmt.Sprintf("%q is not a number", number), pointHint(string(g.Value)))
		return
	case err != nil:
		c.fault(at, fmt.Sprintf("%q does not begin with a number", string(g.Value)), cmp.Or(pointHint(string(g.Value)), "write the number and its unit: 2.80 m/s, 8 mmHg, 60 %"))
		return
	}
	what := c.Measurands.Find(cmp.Or(g.Measurand, name))
	if alias := c.rule.Aliases[name]; alias != nil && g.Measurand == "" {
		what = alias.Measurands[0]
	}
	_, code, _ := g.Number()
	unit, _, err := ucum.Recognize(code, "UCUM", code)
	if what != nil && err == nil && !unit.Convertible(what.Unit) {
		c.fault(at, fmt.Sprintf("%s cannot be a value of %s", string(g.Value), what.Identifier), "it is measured in "+what.Unit.Display()+" or what converts to it")
	}
}

// Number splits "2.80 m/s" into the number as written and the unit's code.
func (g Given) Number() (ucum.Decimal, string, error) {
	number, unit, _ := strings.Cut(strings.TrimSpace(string(g.Value)), " ")
	d, _, err := ucum.ParseDecimal(number)
	if err != nil {
		return d, "", fmt.Errorf("%q does not begin with a number", string(g.Value))
	}
	unit = strings.TrimSpace(unit)
	if unit == "" {
		unit = "1"
	}
	return d, unit, nil
}

// Years gives the age of the person in an example.
func (p Person) Years() (float64, error) {
	number, unit, _ := strings.Cut(strings.TrimSpace(string(p.Age)), " ")
	return inYears(number, strings.TrimSpace(unit))
}
