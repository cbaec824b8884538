package measurand

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode"

	"echotally/internal/echo"
	"echotally/internal/measurand/wording"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// Suggestion is a measurand an unmatched code may mean.
type Suggestion struct {
	Measurand  *Measurand
	Score      float64 // 0 to 1
	Confidence Confidence
	Why        string

	words float64 // the score without what the modifiers bring it nearer to certain by
}

// Suggestions below this score are noise.
const leastScore = 0.3

// Weights of a suggestion: how well the words agree, and whether the unit can
// be the measurand's. A unit that cannot be rules the measurand out.
const (
	wordWeight = 0.85
	unitWeight = 0.15
)

// Suggest ranks the measurands an unmatched measurement most likely means, by
// words of its meaning and label, section, modifiers, and dimension of its
// unit; then by whether site, flow and mode are the measurand's. At most n.
func (c *Catalogue) Suggest(m *echo.Measurement, n int) []Suggestion {
	own := c.lexicon().Words(m.ConceptName.CodeMeaning, m.ShortLabel, m.EquivalentMeaning, readable(m.ConceptName.CodeValue))
	alone := c.lexicon().Words(m.ConceptName.CodeMeaning)
	around := c.lexicon().Words(c.surroundings(m)...)
	unit := unitOf{measurement: m}
	u, understood := unit.get()
	var out []Suggestion
	for _, d := range c.Measurands {
		if understood && (!u.Convertible(d.Unit) || plainNumber(u) != plainNumber(d.Unit)) {
			continue
		}
		agreement, shared := 0.0, []string(nil)
		for _, name := range c.lexicon().names[d] {
			for _, words := range [][]string{own, alone} {
				if a, explained := c.lexicon().Agreement(words, around, name); a > agreement {
					agreement, shared = a, explained
				}
			}
		}
		if len(shared) == 0 {
			continue
		}
		s := Suggestion{Measurand: d, Score: wordWeight * agreement, Why: "words " + strings.Join(shared, ", ")}
		if understood {
			s.Score += unitWeight
			s.Why += fmt.Sprintf("; unit %s fits", u)
		}
		fitted, fits := c.fitted(m, d, s.Score)
		s.words = round(min(s.Score, fitted))
		s.Why = strings.Join(append([]string{s.Why}, fits...), "; ")
		if s.Score = round(fitted); s.Score >= leastScore {
			out = append(out, s)
		}
	}
	slices.SortStableFunc(out, func(a, b Suggestion) int {
		switch {
		case a.Score > b.Score:
			return -1
		case a.Score < b.Score:
			return 1
		}
		return strings.Compare(a.Measurand.Identifier, b.Measurand.Identifier)
	})
	judge(out)
	return out[:min(n, len(out))]
}

func round(score float64) float64 { return math.Round(score*100) / 100 }

// What a code without a name may well be: a score from here, and not far below the
// best one.
const (
	likelyScore   = 0.5
	nearTheBest   = 0.85
	likelyAtATime = 8
)

// Likely lists the measurands that an unmatched measurement may well be of. They
// are told once for all measurements that look the same.
func (c *Catalogue) Likely(m *echo.Measurement) []*Measurand {
	key := look(m)
	if known, ok := c.likely.Load(key); ok {
		return known.([]*Measurand)
	}
	var out []*Measurand
	list := c.Suggest(m, likelyAtATime)
	for _, s := range list {
		if s.words >= likelyScore && s.Score >= nearTheBest*list[0].Score {
			out = append(out, s.Measurand)
		}
	}
	c.likely.Store(key, out)
	return out
}

// look is what measurements that look the same have in common.
func look(m *echo.Measurement) string {
	return strings.Join([]string{SameCode(m), m.ConceptName.CodeMeaning, m.ShortLabel, m.EquivalentMeaning, m.Section}, "\x00")
}

// What a private code without a name probably is: its words say so well, and of
// nothing else nearly as well.
const (
	probableScore = 0.8
	clearlyAhead  = 0.08
)

// Probably is the one measurand that the words and the unit of an unmatched
// measurement with a private name point at; nil when there are several or none.
func (c *Catalogue) Probably(m *echo.Measurement) *Measurand {
	if !IsPrivate(m.ConceptName.Key()) {
		return nil
	}
	key := "probably\x00" + look(m)
	if known, ok := c.likely.Load(key); ok {
		return known.(*Measurand)
	}
	d := c.clearest(m)
	c.likely.Store(key, d)
	return d
}

// clearest is the first suggestion if nothing comes near it.
func (c *Catalogue) clearest(m *echo.Measurement) *Measurand {
	list := c.Suggest(m, 2)
	if len(list) == 0 || list[0].Score < probableScore || len(list) > 1 && list[0].Score-list[1].Score < clearlyAhead {
		return nil
	}
	d := list[0].Measurand
	names := c.lexicon().names[d]
	for _, w := range c.lexicon().Words(m.ConceptName.CodeMeaning) {
		if c.lexicon().Knows(w) && !slices.Contains(names[0], w) && !slices.Contains(names[1], w) {
			return nil // the words say something else as well: another side, another method
		}
	}
	return d
}

// plainNumber tells a ratio written as a number from an area of the valve by one
// of the body, which has no dimension either.
func plainNumber(u ucum.Unit) bool {
	return u.Dimension() == ucum.Dimension{} && !strings.Contains(u.Code(), "/")
}

// readable returns a code value that may hold words; most are only numbers.
func readable(value string) string {
	letters := 0
	for _, r := range value {
		if unicode.IsLetter(r) {
			letters++
		}
	}
	if letters < 2 {
		return ""
	}
	return value
}

// surroundings gives the words of the modifiers and the section.
func (c *Catalogue) surroundings(m *echo.Measurement) []string {
	out := []string{m.Section}
	for _, f := range term.Fields() {
		if x := ModifierOf(&m.Modifiers, f); x != nil {
			out = append(out, c.titleOf(f, x))
		}
	}
	if m.SectionSite != nil {
		out = append(out, c.titleOf(term.FindingSite, m.SectionSite))
	}
	return out
}

// titleOf is the term's title, or the meaning as written.
func (c *Catalogue) titleOf(f term.Field, m *echo.Modifier) string {
	if t := c.Terms.Of(f, m.Concept.Key()); t != nil {
		return t.Title
	}
	return m.Concept.CodeMeaning
}

// lexicon holds the words of all measurands.
type lexicon struct {
	*wording.Lexicon
	names  map[*Measurand][2][]string // the words of title and short name
	valves map[string]bool            // names of the finding sites that are valves
}

func newLexicon(c *Catalogue) *lexicon {
	named := make([][2]string, len(c.Measurands))
	for i, m := range c.Measurands {
		named[i] = [2]string{m.Title, m.Short}
	}
	x := &lexicon{Lexicon: wording.New(c.Terms, named), names: map[*Measurand][2][]string{}, valves: map[string]bool{}}
	for _, view := range c.Terms.Names(term.ImageView) {
		for _, valve := range c.Terms.Find(term.ImageView, view).Shows {
			x.valves[valve] = true
		}
	}
	for _, m := range c.Measurands {
		x.names[m] = [2][]string{x.Words(m.Title), x.Words(m.Short)}
	}
	return x
}
