package check

import (
	"slices"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/expr"
	"echotally/internal/finding"
	"echotally/internal/rule"
)

// Protocols and Chosen have moved to finding.
type (
	Protocols = finding.Protocols
	Chosen    = finding.Chosen
)

// chooseProtocols finds the one base protocol, declared before inferred, and
// every triggered one.
func (r *reading) chooseProtocols() Protocols {
	out := Protocols{Base: Chosen{Reason: "neither declared nor recognised"}}
	for _, find := range []func(*rule.Protocol) (Chosen, bool){r.declared, r.inferred} {
		for _, p := range r.set.Protocols {
			if !p.Base || out.Base.Identifier != "" {
				continue
			}
			if c, ok := find(p); ok {
				out.Base = c
			}
		}
	}
	for _, p := range r.set.Protocols {
		if p.Base {
			continue
		}
		c, ok := r.declared(p)
		if !ok {
			c, ok = r.inferred(p)
		}
		if ok {
			out.Triggered = append(out.Triggered, c)
		}
	}
	r.take(out)
	return out
}

// take lets the protocols hold.
func (r *reading) take(p Protocols) {
	if p.Base.Identifier != "" {
		r.protocols[p.Base.Identifier] = true
	}
	for _, c := range p.Triggered {
		r.protocols[c.Identifier] = true
	}
}

func (r *reading) declared(p *rule.Protocol) (Chosen, bool) {
	st := r.firstMentioned(p.DeclaredBy)
	if st == nil || r.otherAge(p) {
		return Chosen{}, false
	}
	return Chosen{Identifier: p.Identifier, Title: p.Title, Declared: true, Reason: says(st)}, true
}

func (r *reading) inferred(p *rule.Protocol) (Chosen, bool) {
	if len(p.Because) == 0 || r.otherAge(p) || r.firstMentioned(p.Unless) != nil {
		return Chosen{}, false
	}
	e := r.bind(p.Reading)
	var because []string
	for _, one := range p.Because {
		if one.When.Holds(e.value) != expr.True {
			continue
		}
		if r.brief {
			return Chosen{Identifier: p.Identifier, Title: p.Title}, true
		}
		because = append(because, e.because(one))
	}
	return Chosen{Identifier: p.Identifier, Title: p.Title, Reason: "inferred: " + strings.Join(because, "; ")}, len(because) > 0
}

func says(st *echo.Statement) string { return "the record says: " + quoted(st) }

// quoted is what the record says, without the stop that would end the sentence
// it is quoted in.
func quoted(st *echo.Statement) string {
	return "“" + strings.TrimSuffix(strings.Trim(st.Quote, "“”"), ".") + "”"
}

// because is a reason in words, with what the record says where it rests on that.
func (e *evaluation) because(reason rule.Reason) string {
	words := e.write(reason.Words)
	for _, in := range reason.When.Inputs {
		if s, ok := e.rule.Statements[in.Name]; ok {
			if st := e.mentioned(s); st != nil {
				words += ": " + quoted(st)
			}
		}
	}
	return words
}

// otherAge reports whether the protocol is known not to be for this age: what
// was made for adults says nothing of a child, whatever its report is called.
func (r *reading) otherAge(p *rule.Protocol) bool {
	return within(p.Age, r.study.Subject.AgeYears) == expr.False
}

func (r *reading) inProtocol(names []string) bool {
	return slices.ContainsFunc(names, func(n string) bool { return r.protocols[n] })
}
