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
	sought   bool
	probably []probable
	copied   bool
	study    echo.Study // the copy, made when a rule is put to it
	checker  *Checker   // of the copy
}

// about are the guesses that a rule is about; nil when there are none. A measurand
// that has a named value needs no guess.
func (c *Checker) about(one *rule.Rule) *guesses {
	g := c.guesses
	if !c.Guesses() || !g.concern(one) {
		return nil
	}
	if !g.copied {
		g.copy(c)
	}
	return g
}

// Guesses reports whether some value that nothing names is guessed, so that a rule may be
// about what the study has no named value of.
func (c *Checker) Guesses() bool {
	g := c.guesses
	if g == nil {
		return false
	}
	if !g.sought {
		g.sought, g.probably = true, c.probable(g.probably[:0])
	}
	return len(g.probably) > 0
}

// copy makes the copy of the study, in the room of that of another.
func (g *guesses) copy(c *Checker) {
	measurements := append(g.study.Measurements[:0], c.Study.Measurements...)
	g.copied, g.study = true, *c.Study
	g.study.Measurements = measurements
	for i := range g.probably {
		p := &g.probably[i]
		m := &measurements[p.at]
		m.Measurand, m.Canonical = p.is.Identifier, &p.canonical
	}
	if g.checker == nil {
		g.checker = New(answer.Read(c.Library, &g.study), c.holding...)
		g.checker.guesses = nil // it has nothing more to guess
		return
	}
	g.checker.Reading.Turn(c.Library, &g.study)
	g.checker.Turn(g.checker.Reading, c.holding...)
}

// guessed is what a measurement of the copy stands for, and what it probably is;
// nil when that is known.
func (g *guesses) guessed(c *Checker, m *echo.Measurement) (original *echo.Measurement, is *measurand.Measurand) {
	for i := range g.study.Measurements {
		if m != &g.study.Measurements[i] {
			continue
		}
		if k := slices.IndexFunc(g.probably, func(p probable) bool { return p.at == i }); k >= 0 {
			is = g.probably[k].is
		}
		return &c.Study.Measurements[i], is
	}
	return m, nil
}

// probable is what a value under an unknown code probably is.
type probable struct {
	at        int // among the measurements
	is        *measurand.Measurand
	canonical ucum.Quantity
}

// probable adds to a list what the values under unknown codes probably are.
func (c *Checker) probable(out []probable) []probable {
	var named map[string]bool // made when the first is asked for
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
	supposing := ""
	for _, e := range now.Result.Evidence {
		var is *measurand.Measurand
		if e.Measurement, is = g.guessed(c, e.Measurement); is != nil {
			if e.Note == "" {
				e.Note = "probably " + is.Title
			}
			if supposing == "" {
				supposing = "If " + e.Measurement.ConceptName.String() + " is " + is.Title + ": "
			}
		}
		res.Evidence = append(res.Evidence, e)
	}
	res.Message = supposing + res.Message
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
