package answer

import (
	"math"
	"slices"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/term"
)

// The answers to the questions of package question: a Binding answers those
// asked of a measurand, looked those of images, asked those of a statement, a
// Reading those of the study.

// Count is how many single values there are.
func (b *Binding) Count() float64 { return float64(len(b.Individuals())) }

// Beats is how many single beats the longest series holds: one beat in each of
// three views are not three beats. What was computed is no beat.
func (b *Binding) Beats() float64 {
	most := 0
	groups, _ := perSeries(b.Items)
	for _, g := range groups {
		singles := filter(individuals(g), func(i Item) bool { return !i.computed })
		most = max(most, len(singles))
	}
	if most == 0 {
		return math.NaN()
	}
	return float64(most)
}

// Highest is the highest of the single values, or of what stands for each series.
func (b *Binding) Highest() float64 {
	return b.ofSingles(1, func(singles []Item) float64 { return slices.MaxFunc(singles, byValue).X })
}

// Lowest is the lowest of the single values, or of what stands for each series.
func (b *Binding) Lowest() float64 {
	return b.ofSingles(1, func(singles []Item) float64 { return slices.MinFunc(singles, byValue).X })
}

// Average is the mean of the single values, or of what stands for each series.
func (b *Binding) Average() float64 { return b.ofSingles(1, mean) }

// Last is the last of the single values, or of what stands for each series.
func (b *Binding) Last() float64 {
	return b.ofSingles(1, func(singles []Item) float64 { return singles[len(singles)-1].X })
}

// Spread is the highest less the lowest of the single values, or of what stands for each series.
func (b *Binding) Spread() float64 {
	return b.ofSingles(2, func(singles []Item) float64 {
		return slices.MaxFunc(singles, byValue).X - slices.MinFunc(singles, byValue).X
	})
}

// ofSingles answers from the single values of one series when there are enough
// of them. Several series are compared by the value that stands for each: one
// window is not held against the beats of another.
func (b *Binding) ofSingles(enough int, answer func([]Item) float64) float64 {
	values := b.Individuals()
	if groups, _ := perSeries(b.Items); len(groups) > 1 {
		values = b.standing(groups)
	}
	if len(values) < enough {
		return math.NaN()
	}
	return answer(values)
}

// RecordedMean is the mean the record states.
func (b *Binding) RecordedMean() float64 {
	for _, i := range slices.Backward(b.Items) {
		if i.derived {
			return i.X
		}
	}
	return math.NaN()
}

// Views counts the image views noted.
func (b *Binding) Views() float64 { return b.reading.distinct(b.Items, viewName) }

// Windows counts the windows noted.
func (b *Binding) Windows() float64 { return b.reading.distinct(b.Items, windowName) }

// Noted asks whether every value carries a modifier.
func (b *Binding) Noted(modifier string) float64 {
	if len(b.Items) == 0 {
		return math.NaN()
	}
	lacks := func(i Item) bool {
		return measurand.ModifierOf(&i.Measurement.Modifiers, term.Field(modifier)) == nil
	}
	return truth(!slices.ContainsFunc(b.Items, lacks))
}

// BothSigns asks whether one document writes some values with a minus sign and
// others without.
func (b *Binding) BothSigns() float64 {
	if len(b.Items) == 0 {
		return math.NaN()
	}
	type of struct {
		document string
		minus    bool
	}
	seen := map[of]bool{}
	for _, i := range b.Items {
		if i.Measurement.Quantity != nil && i.X != 0 {
			seen[of{i.Measurement.Source.SOPInstanceUID, i.Measurement.Quantity.Value.Float() < 0}] = true
		}
	}
	for s := range seen {
		if s.minus && seen[of{s.document, false}] {
			return 1
		}
	}
	return 0
}

// distinct counts distinct image views, or distinct windows.
func (r *Reading) distinct(items []Item, name func(key coding.Key, t *term.Term) string) float64 {
	seen := map[string]bool{}
	for _, i := range items {
		if v := i.Measurement.Modifiers.ImageView; v != nil {
			key := v.Concept.Key()
			if n := name(key, r.Library.Terms.Of(term.ImageView, key)); n != "" {
				seen[n] = true
			}
		}
	}
	return float64(len(seen))
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

// ZScore is the z-score recorded beside the value that counts.
func (b *Binding) ZScore() float64 { return b.reading.scoreBeside(b.Chosen.Measurement) }

// Prior is the value that counts in the earlier study.
func (b *Binding) Prior() float64 { return b.before().Chosen.X }

// PriorPresent asks whether the earlier study has a value.
func (b *Binding) PriorPresent() float64 { return b.before().Present() }

// before is what the earlier study holds for the same alias.
func (b *Binding) before() *Binding { return b.reading.past().bind(b.Alias) }

// asked is a statement asked of a study on behalf of a rule.
type asked struct {
	*Answers
	statement *rule.Said
}

// Mentioned asks whether the statement is made about what the rule is about.
func (a *asked) Mentioned() float64 { return truth(a.mentionedWhere(a.statement, a.concerns) != nil) }

// Stated is true when any of the statements is made, false when all are denied
// or excluded by another of their group, and unknown otherwise or when the
// record says both.
func (a *asked) Stated() float64 {
	made, denied := a.Answers.Mentioned(a.statement) != nil, 0
	for _, d := range a.statement.Definitions {
		if a.denied(d, a.statement.Views) {
			denied++
		}
	}
	switch all := denied == len(a.statement.Definitions); {
	case made && !all:
		return 1
	case !made && all:
		return 0
	}
	return math.NaN()
}

// Age is the patient's age in years.
func (r *Reading) Age() float64 { return told(r.Study.Subject.AgeYears) }

// Sex asks whether the patient's sex has the code.
func (r *Reading) Sex(code string) float64 { return number(IsSex(r.Study.Subject.PatientSex, code)) }

// CountMeasurands counts the different measurands that have a value.
func (r *Reading) CountMeasurands() float64 {
	n := 0
	for _, identifier := range r.Measurands() {
		if slices.ContainsFunc(r.Of(identifier), func(m *echo.Measurement) bool { return m.Canonical != nil }) {
			n++
		}
	}
	return float64(n)
}

// CountZScores counts the recorded z-scores.
func (r *Reading) CountZScores() float64 { return float64(len(r.Scores())) }
