package answer

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

// Value gives what an expression asks for; NaN when it cannot be told.
func (a *Answers) Value(in expr.Input) float64 { return a.value(in, false) }

// value answers; looked at widely, images that may belong to an alias are taken
// as if they did.
func (a *Answers) value(in expr.Input, wide bool) float64 {
	if b := a.Binding(in.Name); b != nil {
		return a.ofBinding(b, in)
	}
	if g := a.gallery(in.Name); g != nil {
		return a.ofImages(g, in.Function, wide)
	}
	if p, ok := a.Rule.Parameters[in.Name]; ok {
		x, _ := a.Parameter(p)
		return x
	}
	if s, ok := a.Rule.Statements[in.Name]; ok {
		return a.ofStatement(s, in.Function)
	}
	switch {
	case in.Name == expr.Age && a.Study.Subject.AgeYears != nil:
		return *a.Study.Subject.AgeYears
	case in.Function == expr.Sex:
		return number(IsSex(a.Study.Subject.PatientSex, in.Detail))
	case in.Function == "count_measurands":
		return a.countMeasurands()
	case in.Function == "count_z_scores":
		return float64(len(a.Scores()))
	case in.AboutSegments():
		return a.ofWall(in.Function)
	case in.AboutPrior():
		return a.priorDays()
	}
	return math.NaN()
}

func (a *Answers) ofBinding(b *Binding, in expr.Input) float64 {
	if in.Function == "" {
		return b.Chosen.X
	}
	if slices.Contains(aboutLink, in.Function) {
		return a.ofLink(b, in.Function)
	}
	if in.AboutPrior() {
		return a.ofPrior(b, in.Function)
	}
	switch in.Function {
	case "linked":
		_, link := b.linkOf()
		return truth(link != nil && !link.Inferred)
	case "likely_windows":
		return a.likelyWindows(b.Items)
	case "present":
		return truth(len(b.Items) > 0)
	case "count":
		return float64(len(b.Individuals()))
	case "views":
		return a.distinct(b.Items, viewName)
	case "windows":
		return a.distinct(b.Items, windowName)
	case "noted":
		return noted(b.Items, term.Field(in.Detail))
	case "z_score":
		return a.scoreBeside(b.Chosen.Measurement)
	case "recorded_mean":
		if d := filter(b.Items, func(i Item) bool { return i.derived }); len(d) > 0 {
			return d[len(d)-1].X
		}
		return math.NaN()
	case "repeatability":
		return a.repeatability(b)
	}
	return b.ofSingles(in.Function)
}

// ofSingles answers what is asked of the single beats.
func (b *Binding) ofSingles(function string) float64 {
	singles := b.Individuals()
	if len(singles) == 0 {
		return math.NaN()
	}
	switch function {
	case "beats":
		return float64(len(singles))
	case "highest":
		return slices.MaxFunc(singles, byValue).X
	case "lowest":
		return slices.MinFunc(singles, byValue).X
	case "average":
		return mean(singles)
	case "last":
		return singles[len(singles)-1].X
	case "spread":
		if len(singles) > 1 {
			return slices.MaxFunc(singles, byValue).X - slices.MinFunc(singles, byValue).X
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

func noted(items []Item, field term.Field) float64 {
	if len(items) == 0 {
		return math.NaN()
	}
	return truth(!slices.ContainsFunc(items, func(i Item) bool { return measurand.ModifierOf(&i.Measurement.Modifiers, field) == nil }))
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
func (r *Reading) countMeasurands() float64 {
	n := 0
	for _, items := range r.byMeasurand {
		if slices.ContainsFunc(items, func(m *echo.Measurement) bool { return m.Canonical != nil }) {
			n++
		}
	}
	return float64(n)
}

func (a *Answers) ofStatement(s *rule.Said, function string) float64 {
	if function == "mentioned" {
		return truth(a.mentionedWhere(s, a.concerns) != nil)
	}
	return number(a.stated(s))
}

// concerns reports whether a statement speaks of what the rule is about. One
// that comes from a modifier of a measurement speaks of that measurement alone:
// an expiration noted at the vena cava says nothing about the inflow. A rule
// about no measurement asks of the study.
func (a *Answers) concerns(s *echo.Statement) bool {
	if s.Measurement == nil || len(a.Rule.Aliases) == 0 {
		return true
	}
	for _, alias := range a.Rule.Aliases {
		for _, one := range alias.Measurands {
			for _, m := range a.byMeasurand[one.Identifier] {
				if m.Source == *s.Measurement {
					return true
				}
			}
		}
	}
	return false
}

// Mentioned returns the first statement that says so, nil when none does.
func (r *Reading) Mentioned(s *rule.Said) *echo.Statement {
	return r.mentionedWhere(s, func(*echo.Statement) bool { return true })
}

func (r *Reading) mentionedWhere(s *rule.Said, counts func(*echo.Statement) bool) *echo.Statement {
	for _, d := range s.Definitions {
		for _, st := range r.said[d.Identifier] {
			if !st.Negated && inView(st, s.Views) && counts(st) {
				return st
			}
		}
	}
	return nil
}

// FirstMentioned returns the first statement that makes any of the list.
func (r *Reading) FirstMentioned(list []*rule.Said) *echo.Statement {
	for _, s := range list {
		if st := r.Mentioned(s); st != nil {
			return st
		}
	}
	return nil
}

// stated is true when any of the statements is made, false when all are denied
// or excluded by another of their group, and unknown otherwise or when the
// record says both.
func (r *Reading) stated(s *rule.Said) expr.Truth {
	made, denied := r.Mentioned(s) != nil, 0
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

func (r *Reading) denied(identifier, group string, views []coding.Key) bool {
	for _, st := range r.said[identifier] {
		if st.Negated && inView(st, views) {
			return true
		}
	}
	if group == "" {
		return false
	}
	for _, d := range r.Library.Statements.Definitions {
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

// Parameter is the value for this patient and edition. Where it depends on sex
// or age and that is not recorded it cannot be told.
func (r *Reading) Parameter(p *rule.Parameter) (float64, ucum.Decimal) {
	for _, c := range p.Cases {
		switch r.fits(c) {
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

// Within asks whether an age, nil when it is not known, lies in a range.
func Within(a rule.Ages, age *float64) expr.Truth {
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

// IsSex asks whether a recorded sex, "" when there is none, is the wanted one.
func IsSex(recorded, want string) expr.Truth {
	switch recorded {
	case "":
		return expr.Unknown
	case want:
		return expr.True
	}
	return expr.False
}

// CaseOf is the case of a parameter for this patient and edition; nil when none
// fits or when it cannot be told which.
func (r *Reading) CaseOf(p *rule.Parameter) *rule.Case {
	for i, c := range p.Cases {
		switch r.fits(c) {
		case expr.True:
			return &p.Cases[i]
		case expr.Unknown:
			return nil
		}
	}
	return nil
}

// fits reports whether a case is meant for this patient and edition.
func (r *Reading) fits(c rule.Case) expr.Truth {
	if c.Edition != "" && c.Edition != r.Library.Edition {
		return expr.False
	}
	fits := Within(c.Age, r.Study.Subject.AgeYears)
	if c.Sex != "" {
		fits = both(fits, IsSex(r.Study.Subject.PatientSex, c.Sex))
	}
	return fits
}

// Limit is a parameter in a unit; NaN when it cannot be told.
func (r *Reading) Limit(p *rule.Parameter, unit ucum.Unit) float64 {
	x, _ := r.Parameter(p)
	return x * Factor(p.Unit, unit)
}
