package expr

import (
	"regexp"
	"strconv"
	"strings"

	"echotally/internal/ucum"
)

// Show gives the words for an input: with its unit when in is nil, otherwise
// as a bare number in that unit.
type Show func(input Input, in *ucum.Unit) string

// Arithmetic writes the expression with every input replaced by what show
// gives for it: "4 × 2.8² + 8 mmHg". Within a formula, whose arithmetic holds
// in the units of its parameters only, inputs are bare numbers.
func (p *Program) Arithmetic(show Show) string {
	return writing{p, show}.write(p.result)
}

type writing struct {
	*Program
	show Show
}

func (w writing) write(at place) string {
	s := &w.steps[at]
	form := forms[s.does]
	switch s.does {
	case literal:
		return strconv.FormatFloat(s.x, 'g', -1, 64)
	case input:
		if in := w.Inputs[s.input]; in.Name != Sex {
			return w.show(in, nil)
		}
		return "sex is " + w.Inputs[s.input].Detail
	case negate:
		return form.shown + w.inside(s.a, form.rank)
	case not:
		if a := &w.steps[s.a]; a.does == input && w.Inputs[a.input].Name == Sex {
			return "sex is not " + w.Inputs[a.input].Detail
		}
		return form.shown + w.inside(s.a, rankCall)
	case choose:
		return "if " + w.write(s.a) + " then " + w.write(s.b) + " else " + w.write(s.c)
	case power:
		return w.power(s)
	case call:
		return w.formula(s)
	}
	if form.rank == rankCall {
		parts := make([]string, len(s.more))
		for i, a := range s.more {
			parts[i] = w.write(a)
		}
		return form.shown + "(" + strings.Join(parts, ", ") + ")"
	}
	return w.inside(s.a, form.rank) + form.shown + w.inside(s.b, form.rank+1)
}

// inside writes a part of something that binds with the given rank.
func (w writing) inside(at place, rank int) string {
	text := w.write(at)
	if forms[w.steps[at].does].rank < rank {
		return "(" + text + ")"
	}
	return text
}

func (w writing) power(s *step) string {
	base := w.inside(s.a, rankCall)
	if w.steps[s.a].does == input && strings.Contains(base, " ") {
		base = "(" + base + ")"
	}
	if exponent := &w.steps[s.b]; exponent.does == literal && exponent.x == 2 {
		return base + "²"
	}
	return base + forms[power].shown + w.inside(s.b, rankCall)
}

// formula puts the arguments into the formula's own arithmetic when every
// parameter is named there, otherwise after its title.
func (w writing) formula(s *step) string {
	f := s.formula
	words := make([]string, len(s.more))
	values := map[string]string{}
	for i, at := range s.more {
		words[i] = w.write(at)
		if i < len(f.Names) {
			bare := w.inside(at, rankCall)
			if a := &w.steps[at]; a.does == input {
				bare = w.show(w.Inputs[a.input], &f.Parameters[i].Unit)
			}
			values[strings.ToLower(f.Names[i])] = bare
		}
	}
	found := map[string]bool{}
	text := word.ReplaceAllStringFunc(f.Text, func(name string) string {
		value, ok := values[strings.ToLower(name)]
		if !ok {
			return name
		}
		found[strings.ToLower(name)] = true
		return value
	})
	if len(found) > 0 && len(found) == len(s.more) {
		return text
	}
	title := f.Title
	if title == "" {
		title = f.Name
	}
	return title + " (" + strings.Join(words, ", ") + ")"
}

var word = regexp.MustCompile(`[\pL_][\pL0-9_]*`)
