package check

import (
	"math"
	"slices"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// value gives what an expression asks for; NaN when it cannot be told.
func (e *evaluation) value(in expr.Input) float64 {
	if b, ok := e.bindings[in.Name]; ok {
		return e.ofBinding(b, in)
	}
	if g, ok := e.galleries[in.Name]; ok {
		return e.ofImages(g, in.Function)
	}
	if s, ok := e.rule.Statements[in.Name]; ok {
		return e.ofStatement(s, in.Function)
	}
	if p, ok := e.rule.Parameters[in.Name]; ok {
		x, _ := e.parameter(p)
		return x
	}
	switch {
	case in.Name == expr.Age && e.study.Subject.AgeYears != nil:
		return *e.study.Subject.AgeYears
	case in.Function == expr.Sex:
		return number(isSex(e.study.Subject.PatientSex, in.Detail))
	case in.Function == "count_measurands":
		return e.countMeasurands()
	case in.Function == "count_z_scores":
		return float64(len(e.zScores()))
	case in.AboutSegments():
		return e.ofWall(in.Function)
	case in.AboutPrior():
		return e.priorDays()
	}
	return math.NaN()
}

func (e *evaluation) ofBinding(b *binding, in expr.Input) float64 {
	if slices.Contains(aboutLink, in.Function) {
		return e.ofLink(b, in.Function)
	}
	if in.AboutPrior() {
		return e.ofPrior(b, in.Function)
	}
	switch in.Function {
	case "linked":
		_, link := b.linkOf()
		return truth(link != nil && !link.Inferred)
	case "likely_windows":
		return e.likelyWindows(b.items)
	case "":
		return b.chosen.x
	case "present":
		return truth(len(b.items) > 0)
	case "count":
		return float64(len(b.individuals()))
	case "views":
		return e.places(b.items, viewName)
	case "windows":
		return e.places(b.items, windowName)
	case "noted":
		return noted(b.items, term.Field(in.Detail))
	case "z_score":
		return e.scoreBeside(b.chosen.m)
	case "recorded_mean":
		if d := filter(b.items, func(i item) bool { return i.derived }); len(d) > 0 {
			return d[len(d)-1].x
		}
		return math.NaN()
	}
	if in.Function == "repeatability" {
		return e.repeatability(b)
	}
	singles := b.individuals()
	if len(singles) == 0 {
		return math.NaN()
	}
	high, low := slices.MaxFunc(singles, byValue).x, slices.MinFunc(singles, byValue).x
	switch in.Function {
	case "beats":
		return float64(len(singles))
	case "highest":
		return high
	case "lowest":
		return low
	case "average":
		return mean(singles)
	case "last":
		return singles[len(singles)-1].x
	case "spread":
		if len(singles) > 1 {
			return high - low
		}
	}
	return math.NaN()
}

func viewName(key coding.Key, t *term.Term) string {
	if t == nil {
		return key.String()
	}
	return t.Name
}

func windowName(_ coding.Key, t *term.Term) string {
	if t == nil {
		return ""
	}
	return t.Window
}

func noted(items []item, field term.Field) float64 {
	if len(items) == 0 {
		return math.NaN()
	}
	return truth(!slices.ContainsFunc(items, func(i item) bool { return measurand.ModifierOf(&i.m.Modifiers, field) == nil }))
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func number(t expr.Truth) float64 {
	switch t {
	case expr.True:
		return 1
	case expr.False:
		return 0
	}
	return math.NaN()
}

// countMeasurands counts the different measurands that have a value.
func (r *reading) countMeasurands() float64 {
	n := 0
	for _, items := range r.byMeasurand {
		if slices.ContainsFunc(items, func(m *echo.Measurement) bool { return m.Canonical != nil }) {
			n++
		}
	}
	return float64(n)
}

func (e *evaluation) ofStatement(s *rule.Said, function string) float64 {
	if function == "mentioned" {
		return truth(e.mentionedWhere(s, e.about) != nil)
	}
	return number(e.stated(s))
}

// about reports whether a statement speaks of what the rule is about. One
// that comes from a modifier of a measurement speaks of that measurement alone:
// an expiration noted at the vena cava says nothing about the inflow. A rule
// about no measurement asks of the study.
func (e *evaluation) about(s *echo.Statement) bool {
	if s.Measurement == nil || len(e.rule.Aliases) == 0 {
		return true
	}
	for _, alias := range e.rule.Aliases {
		for _, one := range alias.Measurands {
			for _, m := range e.byMeasurand[one.Identifier] {
				if m.Source == *s.Measurement {
					return true
				}
			}
		}
	}
	return false
}

// mentioned returns the first statement that says so, nil when none does.
func (r *reading) mentioned(s *rule.Said) *echo.Statement {
	return r.mentionedWhere(s, func(*echo.Statement) bool { return true })
}

func (r *reading) mentionedWhere(s *rule.Said, counts func(*echo.Statement) bool) *echo.Statement {
	for _, d := range s.Definitions {
		for _, st := range r.said[d.Identifier] {
			if !st.Negated && inView(st, s.Views) && counts(st) {
				return st
			}
		}
	}
	return nil
}

func (r *reading) firstMentioned(list []*rule.Said) *echo.Statement {
	for _, s := range list {
		if st := r.mentioned(s); st != nil {
			return st
		}
	}
	return nil
}

// stated is true when any of the statements is made, false when all are denied
// or excluded by another of their group, and unknown otherwise or when the
// record says both.
func (r *reading) stated(s *rule.Said) expr.Truth {
	made, denied := r.mentioned(s) != nil, 0
	for _, d := range s.Definitions {
		if r.denied(d.Identifier, d.Group, s.Views) {
			denied++
		}
	}
	switch {
	case made && denied == 0:
		return expr.True
	case !made && denied == len(s.Definitions):
		return expr.False
	case made && len(s.Definitions) > denied:
		return expr.True
	}
	return expr.Unknown
}

func (r *reading) denied(identifier, group string, views []coding.Key) bool {
	for _, st := range r.said[identifier] {
		if st.Negated && inView(st, views) {
			return true
		}
	}
	if group == "" {
		return false
	}
	for _, d := range r.set.Statements.Definitions {
		if d.Group != group || d.Identifier == identifier {
			continue
		}
		for _, st := range r.said[d.Identifier] {
			if !st.Negated {
				return true
			}
		}
	}
	return false
}

func inView(s *echo.Statement, views []coding.Key) bool {
	return len(views) == 0 || s.ImageView != nil && slices.Contains(views, s.ImageView.Concept.Key())
}

// parameter is the value for this patient and edition. Where it depends on sex
// or age and that is not recorded it cannot be told.
func (e *evaluation) parameter(p *rule.Parameter) (float64, ucum.Decimal) {
	for _, c := range p.Cases {
		switch e.fits(c) {
		case expr.True:
			return c.Value.Float(), c.Value
		case expr.Unknown:
			return math.NaN(), ucum.Decimal{}
		}
	}
	if p.Value.IsZero() {
		return math.NaN(), p.Value
	}
	return p.Value.Float(), p.Value
}

func both(a, b expr.Truth) expr.Truth {
	switch {
	case a == expr.False || b == expr.False:
		return expr.False
	case a == expr.True && b == expr.True:
		return expr.True
	}
	return expr.Unknown
}

func within(a rule.Ages, age *float64) expr.Truth {
	switch {
	case a.Any():
		return expr.True
	case age == nil:
		return expr.Unknown
	case a.Low != nil && *age < *a.Low || a.High != nil && *age > *a.High:
		return expr.False
	}
	return expr.True
}

func isSex(recorded, want string) expr.Truth {
	switch recorded {
	case "":
		return expr.Unknown
	case want:
		return expr.True
	}
	return expr.False
}
