// Package likeness owns how measurands are alike by the words of their identifiers, so
// that one may be taken for the other: at another time, by another method, at another
// site.
package likeness

import (
	"cmp"
	"slices"
	"strings"
)

// Words are what stands in identifiers for what two of them may differ in.
type Words struct {
	Times   []string          // at which a quantity is measured
	Methods []string          // by which
	Sides   map[string]string // what a word that names a site comes under, such as side
}

// SameButTime reports whether two measurand identifiers differ in nothing but
// the time at which the quantity is measured.
func (w Words) SameButTime(a, b string) bool { return sameBut(w.Times, a, b) }

// SameButMethod reports whether two measurand identifiers stand for one quantity
// by two methods.
func (w Words) SameButMethod(a, b string) bool { return a != b && sameBut(w.Methods, a, b) }

func sameBut(words []string, a, b string) bool {
	rest := func(id string) []string {
		return slices.DeleteFunc(strings.Split(id, "-"), func(w string) bool { return slices.Contains(words, w) })
	}
	return slices.Equal(rest(a), rest(b))
}

// Alike reports whether two measurand identifiers share at least half their
// words: the same property at another site, or the same quantity by another
// method.
func (w Words) Alike(a, b string) bool {
	first, second := strings.Split(a, "-"), strings.Split(b, "-")
	general := func(words []string) []string {
		out := slices.Clone(words)
		for i, one := range out {
			out[i] = cmp.Or(w.Sides[one], one)
		}
		return out
	}
	shared := func(first, second []string) bool {
		n := 0
		for _, w := range first {
			if slices.Contains(second, w) {
				n++
			}
		}
		return 2*n >= len(first)+len(second)-n
	}
	return shared(first, second) || shared(general(first), general(second))
}
