package expr

import (
	"bytes"
	"regexp"
	"slices"
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
	return string(writing{p, show}.write(make([]byte, 0, 128), p.result))
}

type writing struct {
	*Program
	show Show
}

// write appends a step in words.
func (w writing) write(to []byte, at place) []byte {
	s := &w.steps[at]
	form := forms[s.does]
	switch s.does {
	case literal:
		return strconv.AppendFloat(to, s.x, 'g', -1, 64)
	case input:
		if in := w.Inputs[s.a]; in.Name != Sex {
			return append(to, w.show(in, nil)...)
		}
		return append(append(to, "sex is "...), w.Inputs[s.a].Detail...)
	case negate:
		return w.inside(append(to, form.shown...), s.a, form.rank)
	case not:
		if a := &w.steps[s.a]; a.does == input && w.Inputs[a.a].Name == Sex {
			return append(append(to, "sex is not "...), w.Inputs[a.a].Detail...)
		}
		return w.inside(append(to, form.shown...), s.a, rankCall)
	case choose:
		to = append(w.write(append(to, "if "...), s.a), " then "...)
		return w.write(append(w.write(to, s.b), " else "...), s.c)
	case power:
		return w.power(to, s)
	case call:
		return append(to, w.formula(s)...)
	}
	if form.rank == rankCall {
		to = append(append(to, form.shown...), '(')
		for i, a := range w.list(s) {
			if i > 0 {
				to = append(to, ", "...)
			}
			to = w.write(to, a)
		}
		return append(to, ')')
	}
	return w.inside(append(w.inside(to, s.a, form.rank), form.shown...), s.b, form.rank+1)
}

// inside appends a part of something that binds with the given rank.
func (w writing) inside(to []byte, at place, rank int) []byte {
	if forms[w.steps[at].does].rank < rank {
		return append(w.write(append(to, '('), at), ')')
	}
	return w.write(to, at)
}

func (w writing) power(to []byte, s *step) []byte {
	begin := len(to)
	to = w.inside(to, s.a, rankCall)
	if w.steps[s.a].does == input && bytes.ContainsRune(to[begin:], ' ') {
		to = append(slices.Insert(to, begin, '('), ')')
	}
	if exponent := &w.steps[s.b]; exponent.does == literal && exponent.x == 2 {
		return append(to, "²"...)
	}
	return w.inside(append(to, forms[power].shown...), s.b, rankCall)
}

// formula puts the arguments into the formula's own arithmetic when every
// parameter is named there, otherwise after its title.
func (w writing) formula(s *step) string {
	f := w.formulas[s.a]
	words := make([]string, int(s.n))
	values := map[string]string{}
	for i, at := range w.list(s) {
		words[i] = string(w.write(nil, at))
		if i < len(f.Names) {
			bare := string(w.inside(nil, at, rankCall))
			if a := &w.steps[at]; a.does == input {
				bare = w.show(w.Inputs[a.a], &f.Parameters[i].Unit)
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
	if len(found) > 0 && len(found) == int(s.n) {
		return text
	}
	title := f.Title
	if title == "" {
		title = f.Name
	}
	return title + " (" + strings.Join(words, ", ") + ")"
}

var word = regexp.MustCompile(`[\pL_][\pL0-9_]*`)
