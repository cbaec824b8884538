package ruletest

import (
	"bytes"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"

	"echotally/internal/check"
	"echotally/internal/rule"
)

// mutant is a rule file changed in one place that its examples should notice.
type mutant struct {
	what string
	text []byte
}

// Survivors changes each active rule in one place at a time and lists the
// changes no example of the rule notices: a comparison that lets the limit
// itself change sides, and a limit moved by a tenth or a count by one. An
// example exactly at each limit and one just beyond notice both.
func Survivors(t *testing.T, set *rule.Set) []string {
	t.Helper()
	var out []string
	for _, r := range set.Rules {
		if r.File.Status != "active" {
			continue
		}
		for _, m := range append(comparisons(r), limits(r)...) {
			changed, err := set.Compile(r.Path, m.text)
			if err != nil {
				continue // the change is no valid rule, which the loader notices
			}
			if !noticed(set, changed) {
				out = append(out, r.File.Identifier+": "+m.what)
			}
		}
	}
	return out
}

func noticed(set *rule.Set, r *rule.Rule) bool {
	for _, ex := range check.RunExamples(set, r) {
		if ex.Fault != "" {
			return true
		}
	}
	return false
}

var comparison = regexp.MustCompile(`[<>]=?`)

// comparisons swaps < and <=, > and >= in what the rule demands.
func comparisons(r *rule.Rule) []mutant {
	var out []mutant
	at, text := line(r.Source, "require:")
	for _, m := range comparison.FindAllStringIndex(text, -1) {
		old := text[m[0]:m[1]]
		swapped := old + "="
		if strings.HasSuffix(old, "=") {
			swapped = old[:1]
		}
		out = append(out, mutant{fmt.Sprintf("%s for %s at column %d of require", swapped, old, m[0]), splice(r.Source, at+m[0], at+m[1], swapped)})
	}
	return out
}

var value = regexp.MustCompile(`value: *"?(-?[0-9.]+)`)

// limits moves each parameter by a tenth, a count by one, down and up.
func limits(r *rule.Rule) []mutant {
	var out []mutant
	for _, name := range slices.Sorted(maps.Keys(r.Parameters)) {
		at, text := line(r.Source, "  "+name+": {")
		m := value.FindStringSubmatchIndex(text)
		if m == nil {
			continue
		}
		var x float64
		if _, err := fmt.Sscanf(text[m[2]:m[3]], "%g", &x); err != nil || x == 0 {
			continue
		}
		step := x / 10
		if counted := x == math.Trunc(x) && r.Parameters[name].Unit.Code() == "1"; counted {
			step = 1
		}
		for _, to := range []float64{x - step, x + step} {
			out = append(out, mutant{fmt.Sprintf("%s %g for %g", name, to, x), splice(r.Source, at+m[2], at+m[3], fmt.Sprintf("%.10g", to))})
		}
	}
	return out
}

// line finds the line that begins with a text.
func line(src []byte, begin string) (int, string) {
	at := bytes.Index(src, []byte("\n"+begin))
	if at < 0 {
		return 0, ""
	}
	at++
	text, _, _ := strings.Cut(string(src[at:]), "\n")
	return at, text
}

func splice(src []byte, from, to int, with string) []byte {
	return append(append(bytes.Clone(src[:from]), with...), src[to:]...)
}
