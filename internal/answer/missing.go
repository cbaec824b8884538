package answer

import (
	"math"
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/question"
	"echotally/internal/rule"
)

// Missing lists the inputs that leave an expression undecided. Names the
// expression itself guards are named only when nothing else explains it.
func (a *Answers) Missing(p *expr.Program) []finding.Missing {
	collect := func(keep func(name string) bool) []finding.Missing {
		var out []finding.Missing
		var seen []string
		for _, in := range p.Inputs {
			if !slices.Contains(seen, in.Name) && keep(in.Name) && a.untold(in) {
				seen = append(seen, in.Name)
				out = append(out, a.WhyMissing(in)...)
			}
		}
		return out
	}
	out := collect(func(name string) bool { return slices.Contains(p.Required, name) })
	if len(out) == 0 {
		out = collect(func(string) bool { return true })
	}
	return out
}

// untold reports whether an input has no answer, or one that images whose
// headers say too little could change.
func (a *Answers) untold(in expr.Input) bool {
	if g := a.gallery(in.Name); g != nil {
		return len(g.perhaps) > 0
	}
	return math.IsNaN(a.Value(&in))
}

// Absent lists what an expression asks for and the study does not hold.
func (a *Answers) Absent(p *expr.Program) []finding.Missing {
	var out []finding.Missing
	for _, in := range p.Inputs {
		if b := a.Binding(in.Name); b != nil && len(b.Items) == 0 {
			out = append(out, a.WhyMissing(expr.Input{Name: in.Name})...)
		}
	}
	return CompactMissing(out)
}

// WhyMissing says why an input has no answer.
func (a *Answers) WhyMissing(in expr.Input) []finding.Missing {
	if b := a.Binding(in.Name); b != nil {
		reason := b.reason(in.Question)
		if in.AboutPrior() {
			reason = b.before().reason(nil) + " in the earlier study"
		}
		return []finding.Missing{{Alias: in.Name, Measurand: b.Alias.Measurands[0].Identifier, Title: b.Alias.Title(), Reason: reason}}
	}
	if in.AboutSegments() {
		return a.whyNoScore(in.Question)
	}
	if in.AboutPrior() {
		return []finding.Missing{{Alias: in.Question.Name, Measurand: "study-date", Title: "Study date", Reason: in.Question.Unanswered}}
	}
	if g := a.gallery(in.Name); g != nil {
		return []finding.Missing{g.undecided()}
	}
	if s, ok := a.Rule.Statements[in.Name]; ok {
		return []finding.Missing{{Alias: in.Name, Measurand: s.Definitions[0].Identifier, Title: s.Title(), Reason: in.Question.Unanswered}}
	}
	if p, ok := a.Rule.Parameters[in.Name]; ok {
		return a.whyNoParameter(p)
	}
	if in.Name == expr.Sex {
		return []finding.Missing{SexMissing}
	}
	return []finding.Missing{AgeMissing}
}

func (a *Answers) whyNoParameter(p *rule.Parameter) []finding.Missing {
	var out []finding.Missing
	for _, c := range p.Cases {
		if c.Sex != "" && a.Study.Subject.PatientSex == "" && !slices.Contains(out, SexMissing) {
			out = append(out, SexMissing)
		}
		if !c.Age.Any() && a.Study.Subject.AgeYears == nil && !slices.Contains(out, AgeMissing) {
			out = append(out, AgeMissing)
		}
	}
	if len(out) == 0 {
		out = append(out, finding.Missing{Alias: p.Name, Measurand: p.Name, Title: "limit " + p.Name, Reason: "not known for this patient"})
	}
	return out
}

// reason says why the study holds no usable answer for the alias to a question,
// nil when the value itself was asked for.
func (b *Binding) reason(q *question.Question) string {
	if len(b.Items) > 0 && q != nil {
		if _, link := b.linkOf(); link == nil && q.ShownByImage() {
			return "its image is not known"
		}
		return q.Unanswered
	}
	if len(b.Empty) == 0 {
		if u := b.Unnamed(); u != nil {
			return "probably recorded under a code that is not known, " + u.ConceptName.String()
		}
		return "not measured"
	}
	m := b.Empty[len(b.Empty)-1]
	for _, p := range m.Problems {
		switch p.Kind {
		case echo.UnitNotUnderstood:
			return "unit not understood: " + p.Detail
		case echo.UnitWrongDimension:
			return "unit cannot be right: " + p.Detail
		case echo.ValueNotNumber:
			return "value is not a number"
		}
	}
	if m.Qualifier != nil {
		return "no value recorded: " + m.Qualifier.CodeMeaning
	}
	return "no value recorded"
}

// NoWords is what is missing where a rule asks for words and no document of the
// study holds a sentence.
func NoWords() finding.Missing {
	return finding.Missing{Alias: "words", Measurand: "report-text", Title: "Words about the study", Reason: "no document holds a sentence"}
}

// Wordless reports whether no document of the study holds a sentence about it.
func (r *Reading) Wordless() bool {
	return len(r.Study.Documents) > 0 && !slices.ContainsFunc(r.Study.Documents, func(d echo.Document) bool { return !d.Wordless })
}

// CannotTell says that something cannot be told, and why.
func CannotTell(missing []finding.Missing) string {
	if len(missing) == 0 {
		return "cannot tell: the arithmetic has no result for these values"
	}
	return "cannot tell: " + List(missing)
}

// List writes what is missing.
func List(missing []finding.Missing) string {
	parts := make([]string, len(missing))
	for i, m := range missing {
		parts[i] = m.Title + ": " + m.Reason
	}
	return strings.Join(parts, "; ")
}

// CompactMissing names each missing input once.
func CompactMissing(in []finding.Missing) []finding.Missing {
	var out []finding.Missing
	for _, m := range in {
		if !slices.Contains(out, m) {
			out = append(out, m)
		}
	}
	return out
}
