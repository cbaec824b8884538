package statement

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// number is one way a language says the value of a measurand in a sentence.
type number struct {
	Measurand string   `yaml:"measurand"`
	Unit      string   `yaml:"unit"`  // UCUM
	After     []string `yaml:"after"` // how the unit is written behind the number
	Words     []string `yaml:"words"`
	Unless    []string `yaml:"unless"` // words that make it another's, or an earlier one
}

// reader finds the values of one entry.
type reader struct {
	measurand, unit string
	value, unless   func() *regexp.Regexp // made when a sentence has its words
	said            []string              // all words of the entry
}

// Number is a value found in a text, "55-60 %" being one from 55 to 60.
type Number struct {
	Measurand, Unit string
	Low, High       float64
}

// numbers adds how the values of measurands are said.
func (ld *loader) numbers(list []number) {
	for i, n := range list {
		at := fmt.Sprintf("$.numbers[%d]", i)
		if n.Measurand == "" || n.Unit == "" || len(n.Words) == 0 || len(n.After) == 0 {
			ld.fault(at, "a number needs measurand, unit, after and words", "see Phrases in rules/README.md")
			continue
		}
		r := reader{measurand: n.Measurand, unit: n.Unit, said: slices.Concat(n.Words, n.After, n.Unless), value: made(
			`(?:^|[^\pL\pN])(?:` + anyOf(n.Words) + `)[^\pN.;%]{0,30}?(\d{1,3}(?:[.,]\d+)?)(?: ?(?:-|–|to|bis|a|hasta) ?(\d{1,3}(?:[.,]\d+)?))? ?(?:` + anyOf(n.After) + `)`)}
		if len(n.Unless) > 0 {
			r.unless = made(`(?:^|[^\pL\pN])(?:` + anyOf(n.Unless) + `)(?:[^\pL\pN]|$)`)
		}
		ld.c.numbers = append(ld.c.numbers, r)
	}
}

// made is a pattern that is made when it is first asked for.
func made(text string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(text) })
}

// year in a sentence tells of another day.
var year = regexp.MustCompile(`(?:19|20)\d\d`)

func anyOf(words []string) string {
	quoted := make([]string, len(words))
	for i, w := range words {
		quoted[i] = regexp.QuoteMeta(Fold(w))
	}
	return strings.Join(quoted, "|")
}

// Numbers finds values of measurands in a report text. Sentences that tell of
// another day, and questions, are passed over.
func (c *Catalogue) Numbers(text string) []Number {
	var out []Number
	if !strings.ContainsAny(text, "0123456789") {
		return nil
	}
	for _, s := range c.words.sentences(text) {
		sentence := Fold(s.quote)
		if year.MatchString(sentence) {
			continue
		}
		for _, r := range c.numbers {
			if r.unless != nil && r.unless().MatchString(sentence) {
				continue
			}
			for _, m := range r.value().FindAllStringSubmatch(sentence, -1) {
				low, err := strconv.ParseFloat(strings.ReplaceAll(m[1], ",", "."), 64)
				if err != nil {
					continue
				}
				high := low
				if to, err := strconv.ParseFloat(strings.ReplaceAll(m[2], ",", "."), 64); err == nil {
					high = max(low, to)
				}
				out = append(out, Number{r.measurand, r.unit, low, high})
			}
		}
	}
	return out
}
