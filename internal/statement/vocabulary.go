package statement

import (
	"regexp"
	"slices"
	"strings"
	"unicode"
)

// Vocabulary is the words that reports are written with, as far as the phrases of
// all languages know them. What is none of them may name somebody.
type Vocabulary struct {
	words    map[string]bool
	prefixes []string // sorted
}

// endings are what may follow a word of which only the beginning is written in a
// phrase: "stenos*" is met as stenosis and Stenosen. A surname that begins alike is
// none of them.
var endings = strings.Fields(`s es e en er em n al ale ales aux ant ante antes ation ations ative ated ed ing ly y ies ion ions ionen
	ung ungen ose osen osis oses ity itat ite ive ives ique iques isch ische ischen ischer isches ig ige igen iger iges lich liche lichen
	licher liches keit heit ee ees t te ten tes a as o os ado ada ados adas cion ciones mente ment ments r nt ht te e`)

// Vocabulary gathers the words of all phrases, negations and numbers, and of the
// titles given, such as those of measurands.
func (c *Catalogue) Vocabulary(titles ...string) *Vocabulary {
	v := &Vocabulary{words: map[string]bool{}}
	l := &c.words
	for _, list := range l.byFirst {
		for _, e := range list {
			v.pattern(e.pattern)
		}
	}
	for _, list := range l.byInitial {
		for _, p := range list {
			v.pattern(p.pattern)
		}
	}
	for _, terms := range [][]sequenceList{l.before, l.after, l.hedges, l.doubted, l.harmless} {
		for _, t := range terms {
			v.literals(t)
		}
	}
	for _, set := range []map[string]bool{l.until, l.aside, l.through, l.unclear, l.abbreviations} {
		for w := range set {
			v.words[w] = true
		}
	}
	for _, r := range c.numbers {
		titles = append(titles, r.said...)
	}
	for _, d := range c.Definitions {
		titles = append(titles, d.Title)
	}
	for _, t := range titles {
		for _, w := range strings.FieldsFunc(t, func(r rune) bool { return !isWordRune(r) }) {
			v.words[Fold(w)] = true
		}
	}
	slices.Sort(v.prefixes)
	v.prefixes = slices.Compact(v.prefixes)
	return v
}

func (v *Vocabulary) pattern(p *pattern) {
	for _, one := range p.parts {
		for _, choice := range one.choices {
			v.literals(choice)
		}
	}
}

func (v *Vocabulary) literals(list []literal) {
	for _, l := range list {
		if l.prefix {
			v.prefixes = append(v.prefixes, l.text)
		} else {
			v.words[l.text] = true
		}
	}
}

// Knows reports whether a word is one that reports are written with.
func (v *Vocabulary) Knows(word string) bool {
	w := Fold(word)
	if v.words[w] {
		return true
	}
	for n := 1; n <= len(w); n++ {
		if _, found := slices.BinarySearch(v.prefixes, w[:n]); found && (n == len(w) || slices.Contains(endings, w[n:])) {
			return true
		}
	}
	return false
}

// Masked stands in place of a word that is not known.
const Masked = "xxx"

// mostDigits is the longest number that is kept: a longer one may be a date or a
// number of somebody.
const mostDigits = 3

// Clean keeps the words that are known, numbers of up to three digits before the
// point, and what stands between; all else, and every word that is refused, is
// masked.
func (v *Vocabulary) Clean(text string, refuse func(folded string) bool) string {
	text = dates.ReplaceAllStringFunc(text, func(d string) string { return strings.Repeat("0", mostDigits) })
	var out strings.Builder
	runes := []rune(text)
	for i := 0; i < len(runes); {
		if !isWordRune(runes[i]) {
			if unicode.IsControl(runes[i]) && runes[i] != '\n' {
				out.WriteByte(' ')
			} else {
				out.WriteRune(runes[i])
			}
			i++
			continue
		}
		j := i
		digits := unicode.IsDigit(runes[i])
		for j < len(runes) && isWordRune(runes[j]) && unicode.IsDigit(runes[j]) == digits {
			j++
		}
		w := string(runes[i:j])
		switch {
		case digits && len(w) > mostDigits:
			out.WriteString(strings.Repeat("0", mostDigits))
		case digits || v.Knows(w) && !refuse(Fold(w)):
			out.WriteString(w)
		default:
			out.WriteString(Masked)
		}
		i = j
	}
	return out.String()
}

// dates finds dates of three numbers, and of two with a slash that may be day,
// month or year.
var dates = regexp.MustCompile(`\d{1,4}[./-]\d{1,2}[./-]\d{1,4}|\b(?:[12]?\d|3[01])/(?:0?[1-9]|1[0-2])\b|\b(?:0?[1-9]|1[0-2])/(?:[12]?\d|3[01]|(?:19|20)\d\d)\b`)
