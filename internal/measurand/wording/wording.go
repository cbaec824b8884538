// Package wording owns how far two texts say the same by their words: split as people
// write them, abbreviations written out, rare words more telling than common ones.
package wording

import (
	"math"
	"slices"
	"strings"
	"unicode"

	"echotally/internal/term"
)

// Lexicon knows how telling each word is, by how few of the texts it was made of have it.
type Lexicon struct {
	terms  *term.Catalogue
	weight map[string]float64
	rare   float64 // weight of a word that none of them has
}

// New makes a lexicon of texts: of each the names it goes by. Abbreviations among the
// terms are written out.
func New(terms *term.Catalogue, names [][2]string) *Lexicon {
	x := &Lexicon{terms: terms, weight: map[string]float64{}}
	found := map[string]int{}
	for _, n := range names {
		for _, w := range x.Words(n[0], n[1]) {
			found[w]++
		}
	}
	for w, n := range found {
		x.weight[w] = math.Log(1 + float64(len(names))/float64(n))
	}
	x.rare = math.Log(1 + float64(len(names)))
	return x
}

// Knows reports whether one of the texts has a word.
func (x *Lexicon) Knows(word string) bool {
	_, known := x.weight[word]
	return known
}

func (x *Lexicon) weigh(words []string) float64 {
	sum := 0.0
	for _, w := range words {
		if weight, ok := x.weight[w]; ok {
			sum += weight
		} else {
			sum += x.rare
		}
	}
	return sum
}

// Agreement compares the words of a code with those of a measurand: the
// harmonic mean of how much of the code the measurand explains and how much of
// the measurand the code and its surroundings explain. Only words of the code
// itself count as shared.
func (x *Lexicon) Agreement(own, around, title []string) (float64, []string) {
	shared := both(own, title)
	if len(shared) == 0 {
		return 0, nil
	}
	explained := append(slices.Clone(shared), both(Without(around, own), title)...)
	precision := x.weigh(shared) / x.weigh(own)
	recall := x.weigh(explained) / x.weigh(title)
	return 2 * precision * recall / (precision + recall), explained
}

func both(a, b []string) []string {
	var out []string
	for _, w := range a {
		if slices.Contains(b, w) {
			out = append(out, w)
		}
	}
	return out
}

// Without are the words of one list that another one does not have.
func Without(a, b []string) []string {
	var out []string
	for _, w := range a {
		if !slices.Contains(b, w) {
			out = append(out, w)
		}
	}
	return out
}

// stopWords say nothing about a quantity. "a" is not among them: it is a wave.
var stopWords = map[string]bool{"of": true, "the": true, "by": true, "from": true, "at": true, "in": true, "and": true, "with": true, "to": true, "for": true, "on": true, "or": true}

// Words splits texts into different lower-case words, abbreviations written
// out.
func (x *Lexicon) Words(texts ...string) []string {
	var out []string
	for _, text := range texts {
		for _, token := range Tokens(text) {
			for _, w := range x.terms.WriteOut(strings.ToLower(token)) {
				if !stopWords[w] && !slices.Contains(out, w) {
					out = append(out, w)
				}
			}
		}
	}
	return out
}

// strokes unites the spellings of e' (e prime, the tissue velocity).
var strokes = strings.NewReplacer("’", "'", "′", "'", "`", "'", "´", "'", "-prime", "'", "-Prime", "'", " prime", "'", " Prime", "'")

// Tokens splits a text at everything but letters, digits and the stroke of e',
// and where a small letter is followed by a capital: "LVOTDiam" stays one
// token, "peakVelocity" becomes two.
func Tokens(text string) []string {
	text = strokes.Replace(text)
	var out []string
	for _, field := range strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '\'' }) {
		start, runes := 0, []rune(field)
		for i := 1; i < len(runes); i++ {
			if unicode.IsLower(runes[i-1]) && unicode.IsUpper(runes[i]) {
				out = append(out, string(runes[start:i]))
				start = i
			}
		}
		out = append(out, string(runes[start:]))
	}
	return out
}
