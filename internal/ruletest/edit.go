package ruletest

import (
	"bytes"
	"fmt"
	"math/big"
	"regexp"
	"slices"
	"strings"

	"echotally/internal/expr"
	"echotally/internal/rule"
)

// span is a part of a rule file: the lines of one key.
type span struct {
	key      string
	from, to int
}

func (s span) text(src []byte) string { return string(src[s.from:s.to]) }

var topLevel = regexp.MustCompile(`(?m)^([a-zA-Z]+):`)

// spans lists the keys of a file.
func spans(src []byte) []span {
	var out []span
	for _, k := range topLevel.FindAllSubmatchIndex(src, -1) {
		if len(out) > 0 {
			out[len(out)-1].to = k[0]
		}
		out = append(out, span{string(src[k[2]:k[3]]), k[0], len(src)})
	}
	return out
}

// deciding finds the keys whose expressions decide the result.
func deciding(src []byte) []span {
	return slices.DeleteFunc(spans(src), func(s span) bool {
		return !slices.Contains([]string{"appliesTo", "define", "require", "recompute", "review", "severityIf"}, s.key)
	})
}

// key finds one key.
func key(src []byte, name string) (span, bool) {
	all := spans(src)
	i := slices.IndexFunc(all, func(s span) bool { return s.key == name })
	if i < 0 {
		return span{}, false
	}
	return all[i], true
}

var (
	before = regexp.MustCompile(`(?:\w+\(\w+\)|[\w.]*) *[<>=!]*[ (]*$`)
	behind = regexp.MustCompile(`^[ )]*[\w.]*`)
)

// change replaces a part of a key's text and tells it with what stands beside.
func change(src []byte, s span, from, to int, with string) mutant {
	text := s.text(src)
	l, r := before.FindString(text[:from]), behind.FindString(text[to:])
	what := fmt.Sprintf("%s: %s for %s", s.key, l+with+r, l+text[from:to]+r)
	return mutant{what, splice(src, s.from+from, s.from+to, with)}
}

func splice(src []byte, from, to int, with string) []byte {
	return append(append(bytes.Clone(src[:from]), with...), src[to:]...)
}

var comparison = regexp.MustCompile(`[<>]=?`)

// comparisons swaps < and <=, > and >=.
func comparisons(src []byte, s span) []mutant {
	var out []mutant
	for _, m := range comparison.FindAllStringIndex(s.text(src), -1) {
		old := s.text(src)[m[0]:m[1]]
		swapped := old + "="
		if strings.HasSuffix(old, "=") {
			swapped = old[:1]
		}
		out = append(out, change(src, s, m[0], m[1], swapped))
	}
	return out
}

var banded = regexp.MustCompile(`\b(between|tier)\(`)

// ends leaves each limit itself out of between() and tier(), which include it.
func ends(src []byte, s span) []mutant {
	var out []mutant
	for _, m := range banded.FindAllStringSubmatchIndex(s.text(src), -1) {
		args, end := arguments(s.text(src), m[1])
		for i := range args[1:] {
			var parts []string
			for k, limit := range args[1:] {
				sign, strict := ">=", ">"
				if s.text(src)[m[2]:m[3]] == "between" && k == 1 {
					sign, strict = "<=", "<"
				}
				if k == i {
					sign = strict
				}
				parts = append(parts, fmt.Sprintf("((%s) %s (%s))", args[0], sign, limit))
			}
			with := "(" + strings.Join(parts, " and ") + ")"
			if s.text(src)[m[2]:m[3]] == "tier" {
				with = "tally(" + strings.Join(append(parts, "1 < 0"), ", ") + ")"
			}
			left := change(src, s, m[0], end, with)
			left.what = fmt.Sprintf("%s: %s with %s itself left out", s.key, s.text(src)[m[0]:end], args[i+1])
			out = append(out, left)
		}
	}
	return out
}

var bound = regexp.MustCompile(`(?:low|high): *\{ *value: *([0-9.]+)`)

// ages moves the ends of the ages a rule is for by a year, down and up.
func ages(src []byte, s span) []mutant {
	var out []mutant
	if s.key != "appliesTo" {
		return nil
	}
	for _, m := range bound.FindAllStringSubmatchIndex(s.text(src), -1) {
		for _, step := range []int64{-1, 1} {
			moved := change(src, s, m[2], m[3], stepped(s.text(src)[m[2]:m[3]], step))
			moved.what = "appliesTo.age: " + stepped(s.text(src)[m[2]:m[3]], step) + " for " + s.text(src)[m[2]:m[3]]
			out = append(out, moved)
		}
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

var literal = regexp.MustCompile(`(?:[<>]=?|[!=]=) *([12])(?:["?:)},]| and | or | \?|\n)`)

// literals moves a number that a comparison ends with by one.
func literals(src []byte, s span) []mutant {
	var out []mutant
	for _, m := range literal.FindAllStringSubmatchIndex(s.text(src), -1) {
		for _, to := range map[string][]string{"1": {"0", "2"}, "2": {"1", "(2 + 1)"}}[s.text(src)[m[2]:m[3]]] {
			out = append(out, change(src, s, m[2], m[3], to))
		}
	}
	return out
}

var repeatable = regexp.MustCompile(`\brepeatability\(\w+\)`)

// repeatabilities makes the repeatability a hundredth smaller and larger.
func repeatabilities(src []byte, s span) []mutant {
	var out []mutant
	for _, m := range repeatable.FindAllStringIndex(s.text(src), -1) {
		for _, factor := range []string{"(100 - 1) / 100", "(100 + 1) / 100"} {
			out = append(out, change(src, s, m[0], m[1], fmt.Sprintf("(%s * %s)", s.text(src)[m[0]:m[1]], factor)))
		}
	}
	return out
}

var (
	named   = regexp.MustCompile(`(?m)^  ([a-z][a-z0-9_]*):`)
	written = regexp.MustCompile(`\bvalue: *"?(-?[0-9.]+)`)
)

// parameters moves each number that decides by the smallest step it is written
// with, down and up.
func parameters(r *rule.Rule) []mutant {
	s, ok := key(r.Source, "parameters")
	if !ok {
		return nil
	}
	text, used := s.text(r.Source), decides(r)
	names := named.FindAllStringSubmatchIndex(text, -1)
	var out []mutant
	for i, n := range names {
		end := len(text)
		if i+1 < len(names) {
			end = names[i+1][0]
		}
		name := text[n[2]:n[3]]
		if !slices.Contains(used, name) {
			continue
		}
		for _, v := range written.FindAllStringSubmatchIndex(text[n[0]:end], -1) {
			from, to := n[0]+v[2], n[0]+v[3]
			for _, step := range []int64{-1, 1} {
				number := stepped(text[from:to], step)
				what := fmt.Sprintf("%s: %s for %s", name, number, text[from:to])
				out = append(out, mutant{what, splice(r.Source, s.from+from, s.from+to, number)})
			}
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

// stepped is a number moved by a step in its last written digit.
func stepped(number string, step int64) string {
	x, ok := new(big.Rat).SetString(number)
	if !ok {
		return number
	}
	_, fraction, _ := strings.Cut(number, ".")
	digit := new(big.Rat).SetFrac64(step, 1)
	for range fraction {
		digit.Quo(digit, big.NewRat(10, 1))
	}
	return x.Add(x, digit).FloatString(len(fraction))
}
