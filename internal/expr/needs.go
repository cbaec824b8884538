package expr

// prospect is what a step may come to when a name has no value: true, which is a
// number but nought, or false. What can be neither cannot be told.
type prospect struct{ yes, no bool }

// Needs reports whether a condition can only hold where a name has a value, so
// that nothing else need be asked of a study without one. It says no where that
// is not plain from the expression.
func (p *Program) Needs(name string) bool {
	may := make([]prospect, len(p.steps))
	for i := range p.steps { // operands stand before what is computed from them
		may[i] = p.prospect(&p.steps[i], may, name)
	}
	return !may[p.result].yes
}

func (p *Program) prospect(s *step, may []prospect, name string) prospect {
	switch a, b, c := may[s.a], may[s.b], may[s.c]; s.does {
	case literal:
		return prospect{true, true}
	case input:
		in := p.Inputs[s.a]
		if in.Name != name || in.Question != nil && in.Question.Name != "present" {
			return prospect{true, true}
		}
		return prospect{no: in.Question != nil}
	case not:
		return prospect{a.no, a.yes}
	case and:
		return prospect{a.yes && b.yes, a.no || b.no}
	case or:
		return prospect{a.yes || b.yes, a.no && b.no}
	case choose:
		return prospect{b.yes || c.yes, b.no || c.no}
	case negate:
		return told(a)
	case add, subtract, multiply, divide, less, notMore, more, notLess, equal, unequal:
		return told(a, b)
	case power: // by nought it is 1 whatever it is of
		return prospect{true, true}
	}
	of := make([]prospect, s.n)
	for i, at := range p.list(s) {
		of[i] = may[at]
	}
	out := told(of...)
	out.no = out.no || s.does == between // settled by the limit that is known
	return out
}

// told is what is computed from numbers that have all to be known.
func told(of ...prospect) prospect {
	for _, one := range of {
		if !one.yes && !one.no {
			return prospect{}
		}
	}
	return prospect{true, true}
}
