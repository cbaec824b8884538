package mutant

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"

	"echotally/internal/datafile/written"
	"echotally/internal/expr"
	"echotally/internal/rule"
)

// place is an expression that decides the result.
type place struct {
	key, text string
	put       func(f *rule.File, text string) // into a copy of the file
}

// places lists the expressions that decide the result.
func places(f rule.File) []place {
	out := []place{
		{"appliesTo", f.AppliesTo.When, func(f *rule.File, text string) { f.AppliesTo.When = text }},
		{"require", f.Require, func(f *rule.File, text string) { f.Require = text }},
		{"review", f.Review, func(f *rule.File, text string) { f.Review = text }},
	}
	for _, name := range slices.Sorted(maps.Keys(f.Define)) {
		out = append(out, place{"define", f.Define[name], func(f *rule.File, text string) {
			f.Define = maps.Clone(f.Define)
			f.Define[name] = text
		}})
	}
	if f.Recompute != nil {
		for i, form := range f.Recompute.From {
			out = append(out, place{"recompute", form.Value, func(f *rule.File, text string) {
				forms := *f.Recompute
				forms.From = slices.Clone(forms.From)
				forms.From[i].Value, f.Recompute = text, &forms
			}})
		}
	}
	for i, s := range f.SeverityIf {
		out = append(out, place{"severityIf", s.When, func(f *rule.File, text string) {
			f.SeverityIf = slices.Clone(f.SeverityIf)
			f.SeverityIf[i].When = text
		}})
	}
	return out
}

// edit is a changed expression.
type edit struct{ what, text string }

var (
	before = regexp.MustCompile(`(?:\w+\(\w+\)|[\w.]*) *[<>=!]*[ (]*$`)
	behind = regexp.MustCompile(`^[ )]*[\w.]*`)
)

// change replaces a part of an expression and tells it with what stands beside.
func change(text string, from, to int, with string) edit {
	l, r := before.FindString(text[:from]), behind.FindString(text[to:])
	return edit{fmt.Sprintf("%s for %s", l+with+r, l+text[from:to]+r), text[:from] + with + text[to:]}
}

var comparison = regexp.MustCompile(`[<>]=?`)

// comparisons swaps < and <=, > and >=.
func comparisons(text string) []edit {
	var out []edit
	for _, m := range comparison.FindAllStringIndex(text, -1) {
		old := text[m[0]:m[1]]
		swapped := old + "="
		if strings.HasSuffix(old, "=") {
			swapped = old[:1]
		}
		out = append(out, change(text, m[0], m[1], swapped))
	}
	return out
}

var banded = regexp.MustCompile(`\b(between|tier)\(`)

// ends leaves each limit itself out of between() and tier(), which include it.
func ends(text string) []edit {
	var out []edit
	for _, m := range banded.FindAllStringSubmatchIndex(text, -1) {
		args, end := arguments(text, m[1])
		between := text[m[2]:m[3]] == "between"
		for i := range args[1:] {
			var parts []string
			for k, limit := range args[1:] {
				sign, strict := ">=", ">"
				if between && k == 1 {
					sign, strict = "<=", "<"
				}
				if k == i {
					sign = strict
				}
				parts = append(parts, fmt.Sprintf("((%s) %s (%s))", args[0], sign, limit))
			}
			with := "(" + strings.Join(parts, " and ") + ")"
			if !between {
				with = "tally(" + strings.Join(append(parts, "1 < 0"), ", ") + ")"
			}
			left := change(text, m[0], end, with)
			left.what = fmt.Sprintf("%s with %s itself left out", text[m[0]:end], args[i+1])
			out = append(out, left)
		}
	}
	return out
}

// ages moves the ends of the ages a rule is for by one, down and up.
func ages(f rule.File) []mutant {
	a := f.AppliesTo.Age
	if a == nil {
		return nil
	}
	var out []mutant
	age := *a
	for _, end := range []**written.Bound{&age.Low, &age.High} {
		if *end == nil {
			continue
		}
		was := **end
		for _, step := range []int64{-1, 1} {
			moved := was
			moved.Value = rule.Stepped(was.Value, step)
			*end = &moved
			changed, copied := f, age
			changed.AppliesTo.Age = &copied
			out = append(out, mutant{fmt.Sprintf("appliesTo.age: %s for %s", moved.Value, was.Value), changed})
		}
		*end = &was
	}
	return out
}

// arguments splits the arguments of a call that begin at a place.
func arguments(text string, at int) (args []string, end int) {
	depth, begin := 0, at
	for i := at; i < len(text); i++ {
		switch {
		case text[i] == '(':
			depth++
		case text[i] == ')' && depth == 0:
			return append(args, strings.TrimSpace(text[begin:i])), i + 1
		case text[i] == ')':
			depth--
		case text[i] == ',' && depth == 0:
			args, begin = append(args, strings.TrimSpace(text[begin:i])), i+1
		}
	}
	return args, len(text)
}

var literal = regexp.MustCompile(`(?:[<>]=?|[!=]=) *([12])(?:[?:),]| and | or | \?|\n|$)`)

// literals moves a number that a comparison ends with by one.
func literals(text string) []edit {
	var out []edit
	for _, m := range literal.FindAllStringSubmatchIndex(text, -1) {
		for _, to := range map[string][]string{"1": {"0", "2"}, "2": {"1", "(2 + 1)"}}[text[m[2]:m[3]]] {
			out = append(out, change(text, m[2], m[3], to))
		}
	}
	return out
}

var repeatable = regexp.MustCompile(`\b(?:repeatability|spread_limit)\(\w+\)`)

// repeatabilities makes the repeatability a hundredth smaller and larger.
func repeatabilities(text string) []edit {
	var out []edit
	for _, m := range repeatable.FindAllStringIndex(text, -1) {
		for _, factor := range []string{"(100 - 1) / 100", "(100 + 1) / 100"} {
			out = append(out, change(text, m[0], m[1], fmt.Sprintf("(%s * %s)", text[m[0]:m[1]], factor)))
		}
	}
	return out
}

// parameters moves each number that decides by the smallest step it is written
// with, down and up.
func parameters(r *rule.Rule) []mutant {
	var out []mutant
	used := decides(r)
	for _, name := range slices.Sorted(maps.Keys(r.File.Parameters)) {
		if !slices.Contains(used, name) {
			continue
		}
		p := r.File.Parameters[name]
		move := func(number written.Text, put func(p *rule.ParameterAsWritten, to written.Text)) {
			for _, step := range []int64{-1, 1} {
				to, moved, changed := rule.Stepped(number, step), *p, r.File
				put(&moved, to)
				changed.Parameters = maps.Clone(changed.Parameters)
				changed.Parameters[name] = &moved
				out = append(out, mutant{fmt.Sprintf("%s: %s for %s", name, to, number), changed})
			}
		}
		if p.Value != "" {
			move(p.Value, func(p *rule.ParameterAsWritten, to written.Text) { p.Value = to })
		}
		for i, c := range p.Cases {
			move(c.Value, func(p *rule.ParameterAsWritten, to written.Text) {
				p.Cases = slices.Clone(p.Cases)
				p.Cases[i].Value = to
			})
		}
	}
	return out
}

// decides lists what the result rests on, the words of the message left out.
func decides(r *rule.Rule) []string {
	programs := []*expr.Program{r.Require, r.When, r.Review}
	for _, s := range r.SeverityIf {
		programs = append(programs, s.When)
	}
	var out []string
	if r.Recompute != nil {
		for _, f := range r.Recompute.Forms {
			programs = append(programs, f.Value)
		}
		out = append(out, r.File.Recompute.Allowance)
	}
	for _, p := range programs {
		if p == nil {
			continue
		}
		for _, in := range p.Inputs {
			out = append(out, in.Name)
		}
	}
	return out
}
