package answer

import (
	"cmp"
	"math"
	"slices"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/question/questionnaire"
	"echotally/internal/rule"
	"echotally/internal/statement"
	"echotally/internal/ucum"
)

// Value gives what an expression asks for; NaN when it cannot be told.
func (a *Answers) Value(in *expr.Input) float64 { return a.value(in, false) }

// value answers; looked at widely, images that may belong to an alias are taken
// as if they did.
func (a *Answers) value(in *expr.Input, wide bool) float64 {
	q := in.Question
	if b := a.bindingOf(in); b != nil {
		switch {
		case q == nil:
			return b.Chosen.X
		case q.OfImage != nil:
			return b.shownByImage(q.OfImage)
		}
		return q.OfMeasured(b, in.Detail)
	}
	switch of := in.Of.(type) { // far quicker than by the name
	case *rule.Parameter:
		x, _ := a.Parameter(of)
		return x
	case *rule.Said:
		a.asked = asked{a, of}
		return q.OfSaid(&a.asked)
	}
	if g := a.gallery(in.Name); g != nil {
		return q.OfImages(looked{a.Reading, g, wide})
	}
	if p, ok := a.Rule.Parameters[in.Name]; ok {
		x, _ := a.Parameter(p)
		return x
	}
	if s, ok := a.Rule.Statements[in.Name]; ok {
		return q.OfSaid(&asked{a, s})
	}
	if q = cmp.Or(q, questionnaire.Find(in.Name)); q != nil && q.OfStudy != nil {
		return q.OfStudy(a.Reading, in.Detail)
	}
	return math.NaN()
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
			for _, m := range a.measured.of(one) {
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
		for _, st := range r.saidOf(d) {
			if !st.Negated && inView(st, s.Views) && counts(st) {
				return st
			}
		}
	}
	return nil
}

// FirstMentioned returns the first statement that makes any of the list.
func (r *Reading) FirstMentioned(list []*rule.Said) *echo.Statement {
	if r.silentOn(list) {
		return nil
	}
	for _, s := range list {
		if st := r.Mentioned(s); st != nil {
			return st
		}
	}
	return nil
}

func (r *Reading) denied(what *statement.Definition, views []coding.Key) bool {
	for _, st := range r.saidOf(what) {
		if st.Negated && inView(st, views) {
			return true
		}
	}
	if what.Group == "" {
		return false
	}
	for _, d := range r.Library.Statements.Definitions {
		if d.Group != what.Group || d.Identifier == what.Identifier {
			continue
		}
		for _, st := range r.saidOf(d) {
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
	return x * r.factor(p.Unit, unit)
}
