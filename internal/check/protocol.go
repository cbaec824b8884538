package check

import (
	"strings"

	"echotally/internal/answer"
	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// Protocols finds the one base protocol, declared before inferred, and
// every triggered one.
func Protocols(r *answer.Reading) finding.Protocols {
	out := finding.Protocols{Base: finding.Chosen{Reason: "neither declared nor recognised"}}
	for _, find := range []func(*answer.Reading, *rule.Protocol) (finding.Chosen, bool){declared, inferred} {
		for _, p := range r.Library.Protocols {
			if !p.Base || out.Base.Identifier != "" {
				continue
			}
			if c, ok := find(r, p); ok {
				out.Base = c
			}
		}
	}
	for _, p := range r.Library.Protocols {
		if p.Base {
			continue
		}
		c, ok := declared(r, p)
		if !ok {
			c, ok = inferred(r, p)
		}
		if ok {
			out.Triggered = append(out.Triggered, c)
		}
	}
	return out
}

// Holding are the identifiers of the protocols that hold.
func Holding(p finding.Protocols) []string {
	var out []string
	if p.Base.Identifier != "" {
		out = append(out, p.Base.Identifier)
	}
	for _, c := range p.Triggered {
		out = append(out, c.Identifier)
	}
	return out
}

func declared(r *answer.Reading, p *rule.Protocol) (finding.Chosen, bool) {
	st := r.FirstMentioned(p.DeclaredBy)
	if st == nil || otherAge(r, p) {
		return finding.Chosen{}, false
	}
	return finding.Chosen{Identifier: p.Identifier, Title: p.Title, Declared: true, Reason: says(st)}, true
}

func inferred(r *answer.Reading, p *rule.Protocol) (finding.Chosen, bool) {
	if len(p.Because) == 0 || otherAge(r, p) || r.FirstMentioned(p.Unless) != nil {
		return finding.Chosen{}, false
	}
	a := r.To(p.Reading)
	var because []string
	for _, one := range p.Because {
		if one.When.Holds(a.Value) != expr.True {
			continue
		}
		because = append(because, reason(a, one))
	}
	return finding.Chosen{Identifier: p.Identifier, Title: p.Title, Reason: "inferred: " + strings.Join(because, "; ")}, len(because) > 0
}

func says(st *echo.Statement) string { return "the record says: " + quoted(st) }

// quoted is what the record says, without the stop that would end the sentence
// it is quoted in.
func quoted(st *echo.Statement) string {
	return "“" + strings.TrimSuffix(strings.Trim(st.Quote, "“”"), ".") + "”"
}

// reason is a reason in words, with what the record says where it rests on that.
func reason(a *answer.Answers, why rule.Reason) string {
	words := a.Write(why.Words)
	for _, in := range why.When.Inputs {
		if s, ok := a.Rule.Statements[in.Name]; ok {
			if st := a.Mentioned(s); st != nil {
				words += ": " + quoted(st)
			}
		}
	}
	return words
}

// otherAge reports whether the protocol is known not to be for this age: what
// was made for adults says nothing of a child, whatever its report is called.
func otherAge(r *answer.Reading, p *rule.Protocol) bool {
	return answer.Within(p.Age, r.Study.Subject.AgeYears) == expr.False
}
