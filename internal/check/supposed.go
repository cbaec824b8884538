package check

import (
	"slices"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/ucum"
)

// guesses are the values under codes that nothing names but whose words say
// clearly what they are, and a copy of the study in which they are that.
type guesses struct {
	probably []probable
	checker  *Checker                                // of the copy, which is made when a rule is put to it
	original map[*echo.Measurement]*echo.Measurement // by what stands for it in the copy
	guessed  map[*echo.Measurement]*measurand.Measurand
}

// about are the guesses that a rule is about; nil when there are none. A measurand
// that has a named value needs no guess.
func (c *Checker) about(one *rule.Rule) *guesses {
	g := c.guesses
	if g == nil {
		g = &guesses{probably: c.probable()}
		c.guesses = g
	}
	if !g.concern(one) {
		return nil
	}
	if g.checker == nil {
		g.copy(c)
	}
	return g
}

// copy makes the copy of the study.
func (g *guesses) copy(c *Checker) {
	copied := *c.Study
	copied.Measurements = slices.Clone(c.Study.Measurements)
	g.original, g.guessed = map[*echo.Measurement]*echo.Measurement{}, map[*echo.Measurement]*measurand.Measurand{}
	for i := range copied.Measurements {
		g.original[&copied.Measurements[i]] = &c.Study.Measurements[i]
	}
	for _, p := range g.probably {
		m := &copied.Measurements[p.at]
		m.Measurand, m.Canonical = p.is.Identifier, &p.canonical
		g.guessed[m] = p.is
	}
	g.checker = New(answer.Read(c.Library, &copied), c.holding...)
	g.checker.guesses = &guesses{} // it has nothing more to guess
}

// probable is what a value under an unknown code probably is.
type probable struct {
	at        int // among the measurements
	is        *measurand.Measurand
	canonical ucum.Quantity
}

func (c *Checker) probable() []probable {
	var named map[string]bool // made when the first is asked for
	var out []probable
	for i := range c.Study.Measurements {
		m := &c.Study.Measurements[i]
		if m.Measurand != "" || m.Role != echo.Result || m.Quantity == nil || m.Superseded || m.DuplicateOf != nil {
			continue
		}
		d := c.Library.Measurands.Probably(m)
		if d == nil {
			continue
		}
		if named == nil {
			named = map[string]bool{}
			for k := range c.Study.Measurements {
				named[c.Study.Measurements[k].Measurand] = true
			}
		}
		if q, err := d.Canonical(*m.Quantity); err == nil && !named[d.Identifier] {
			out = append(out, probable{i, d, q})
		}
	}
	return out
}

// concern reports whether the rule is about a value that is only guessed.
func (g *guesses) concern(one *rule.Rule) bool {
	if len(g.probably) == 0 {
		return false
	}
	for _, a := range one.AliasList() {
		for _, m := range a.Measurands {
			if slices.ContainsFunc(g.probably, func(p probable) bool { return p.is == m }) {
				return true
			}
		}
	}
	return false
}

// supposed puts a rule that cannot be told, or does not apply, to what the values
// under unknown codes probably are. What fails then is for a person to look at;
// nil when nothing does. Only contradictions are told, not what is missing.
func (c *Checker) supposed(one *rule.Rule, asRead *Checked) *Checked {
	if one.Kind != finding.Consistency || asRead != nil && asRead.Result.Outcome != finding.Open {
		return nil
	}
	g := c.about(one)
	if g == nil {
		return nil
	}
	now, _ := g.checker.asRead(one)
	if now == nil || !contradicts(now.Result.Outcome, now.Result.Severity) {
		return nil
	}
	out := newChecked(one)
	out.Decided = finding.Open
	res := &out.Result
	res.Outcome, res.Severity, res.Message = finding.Review, finding.Information, now.Result.Message
	for _, e := range now.Result.Evidence {
		if d := g.guessed[e.Measurement]; d != nil && e.Note == "" {
			e.Note = "probably " + d.Title
		}
		if m := g.original[e.Measurement]; m != nil {
			e.Measurement = m
		}
		res.Evidence = append(res.Evidence, e)
	}
	for _, e := range now.Result.Evidence {
		if d := g.guessed[e.Measurement]; d != nil {
			res.Message = "If " + e.Measurement.ConceptName.String() + " is " + d.Title + ": " + res.Message
			break
		}
	}
	return out
}

// supposedVerdict is the same without a word of why.
func (c *Checker) supposedVerdict(one *rule.Rule, asRead Verdict) Verdict {
	if one.Kind != finding.Consistency || asRead.Outcome != finding.NotApplicable && asRead.Outcome != finding.Open {
		return asRead
	}
	if g := c.about(one); g != nil {
		if v := g.checker.verdict(one); contradicts(v.Outcome, v.Severity) {
			return Verdict{Rule: one, Outcome: finding.Review, Severity: finding.Information}
		}
	}
	return asRead
}

// contradicts leaves out what would be no more than a note of a known value.
func contradicts(o finding.Outcome, s finding.Severity) bool {
	return o == finding.Fail && s.Rank() >= finding.Warning.Rank()
}
