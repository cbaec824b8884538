package statement

import (
	"fmt"
	"slices"
	"sync"
)

// lexicon is the union of the language files, ready to match. Negations of all
// languages hold for phrases of all: an abbreviation such as TR is found by the
// English file also in a German sentence.
type lexicon struct {
	byFirst       map[string][]entry   // phrases whose first word is exactly this
	byInitial     map[string][]*phrase // phrases whose first word is a prefix, by its first bytes
	phrases       int                  // added so far
	before        []sequenceList
	after         []sequenceList
	hedges        []sequenceList
	doubted       []sequenceList
	harmless      []sequenceList
	until         map[string]bool
	aside         map[string]bool
	through       map[string]bool
	unclear       map[string]bool
	stops         map[string]bool // until, through and unclear together
	abbreviations map[string]bool
}

// sequenceList is one negation, hedge or harmless term.
type sequenceList []literal

// phrase is one pattern and what it says: a statement, or the view named.
type phrase struct {
	pattern *pattern
	def     *Definition
	view    string
	unless  *exceptions
	needs   []uint64 // of each part behind the first, one of the words it begins with, as marks; see [mark]
	alone   bool     // nothing follows but a comma or the end
	order   int      // in which it was added
}

// exceptions are patterns around which a phrase does not count. Those of linted files are
// compiled when the phrase is first met: most never are.
type exceptions struct {
	once     sync.Once
	texts    func() []string
	patterns []*pattern
}

// all are the patterns; for those of phrases without exceptions there are none.
func (e *exceptions) all() []*pattern {
	if e == nil {
		return nil
	}
	e.once.Do(func() {
		c := newCompiler()
		for _, text := range e.texts() {
			p, err := c.compile(text)
			if err != nil { // which is told when its file is loaded, or was linted
				panic(fmt.Sprintf("phrase %q of this program is faulty: %v", text, err))
			}
			e.patterns = append(e.patterns, p)
		}
	})
	return e.patterns
}

// entry is a phrase as it is found by its first word.
type entry struct {
	*phrase
	next uint64 // one bit for each word that may follow, by its hash; anyWord for all
}

const anyWord = ^uint64(0)

// bit is the hash of a word as one of 64 bits.
func bit(word string) uint64 {
	h := uint32(2166136261)
	for i := range len(word) {
		h = (h ^ uint32(word[i])) * 16777619
	}
	return 1 << (h >> 26)
}

// follows gives the bits of the words that may come behind the first word w of a
// pattern.
func (p *pattern) follows(w string) uint64 {
	var next uint64
	add := func(l literal) {
		if next |= bit(l.text); l.prefix {
			next = anyWord
		}
	}
	for _, sequence := range p.parts[0].choices {
		switch {
		case sequence[0].prefix || sequence[0].text != w:
		case len(sequence) > 1:
			add(sequence[1])
		case len(p.parts) == 1 || p.parts[1].gap:
			return anyWord
		default:
			for _, choice := range p.parts[1].choices {
				add(choice[0])
			}
		}
	}
	return next
}

// mark is one of 64 bits for how a word begins: a sentence tells at once which phrases
// it lacks words for.
func mark(l literal) uint64 {
	if l.prefix && len(l.text) < initialBytes {
		return anyWord
	}
	return bit(l.text[:min(initialBytes, len(l.text))])
}

// initialBytes is how many bytes of a prefix phrases are found by.
const initialBytes = 3

// found is a phrase met in a sentence.
type found struct {
	*phrase
	span
	negated bool
}

// add indexes a phrase by every way its first word may begin.
func (l *lexicon) add(p *phrase) {
	l.phrases++
	p.order = l.phrases
	p.needs = make([]uint64, 0, len(p.pattern.parts)-1)
	for _, part := range p.pattern.parts[1:] {
		var marks uint64
		for _, choice := range part.choices {
			marks |= mark(choice[0])
		}
		if !part.gap {
			p.needs = append(p.needs, marks)
		}
	}
	choices := p.pattern.parts[0].choices
	for i, sequence := range choices {
		first := sequence[0]
		if slices.ContainsFunc(choices[:i], func(earlier []literal) bool { return earlier[0].foundBy() == first.foundBy() }) {
			continue
		}
		if first.prefix {
			l.byInitial[first.foundBy().text] = append(l.byInitial[first.foundBy().text], p)
		} else {
			l.byFirst[first.text] = append(l.byFirst[first.text], entry{p, p.pattern.follows(first.text)})
		}
	}
}

// foundBy is the word, or of a prefix its first bytes.
func (l literal) foundBy() literal {
	if l.prefix {
		l.text = l.text[:min(initialBytes, len(l.text))]
	}
	return l
}

// candidates lists the phrases that may begin with a word, those with the word
// itself and those with a prefix of it.
func (l *lexicon) candidates(w string) (exact []entry, initial []*phrase) {
	for n := 1; n <= min(initialBytes, len(w)); n++ {
		switch more := l.byInitial[w[:n]]; {
		case len(more) == 0:
		case len(initial) == 0:
			initial = more
		default:
			initial = slices.Concat(initial, more)
			slices.SortStableFunc(initial, func(a, b *phrase) int { return a.order - b.order })
		}
	}
	return l.byFirst[w], initial
}

// find lists the phrases of a sentence that count, in order.
func (l *lexicon) find(words []word) []found {
	var all []found
	var marks uint64
	for i := range words {
		marks |= mark(literal{text: words[i].text})
	}
	for i := range words {
		exact, initial := l.candidates(words[i].text)
		next := uint64(0)
		if i+1 < len(words) && len(exact) > 0 {
			next = bit(words[i+1].text)
		}
		try := func(p *phrase) {
			if slices.ContainsFunc(p.needs, func(need uint64) bool { return need&marks == 0 }) {
				return
			}
			if s, ok := p.pattern.at(words, i, l.stops); ok && !(p.alone && s.end < len(words) && words[s.end].before != comma) && !l.excepted(p, words, s) {
				all = append(all, found{phrase: p, span: s})
			}
		}
		for k := range exact {
			if exact[k].next == anyWord || exact[k].next&next != 0 {
				try(exact[k].phrase)
			}
		}
		for _, p := range initial {
			try(p)
		}
	}
	if len(all) == 0 {
		return nil
	}
	var kept []found
	for _, f := range strongest(all) {
		taken := true
		if f.def != nil {
			f.negated, taken = l.negated(words, f)
		}
		if taken {
			kept = append(kept, f)
		}
	}
	all = slices.Clone(kept)
	return slices.DeleteFunc(kept, func(f found) bool {
		// "No severe TR" denies that it is severe, not that there is TR.
		return f.def != nil && f.negated && slices.ContainsFunc(all, func(g found) bool {
			return g.def != nil && g.def != f.def && g.negated && g.start <= f.start && f.end <= g.end && g.weight() > f.weight()
		})
	})
}

// excepted reports whether one of the phrase's "unless" patterns covers part of
// the match.
func (l *lexicon) excepted(p *phrase, words []word, s span) bool {
	for _, u := range p.unless.all() {
		for i := max(0, s.start-negationReach); i < s.end; i++ {
			if e, ok := u.at(words, i, l.stops); ok && e.end > s.start {
				return true
			}
		}
	}
	return false
}

// strongest keeps, of overlapping phrases of one statement or one group, the
// one with most words of its own; of equals the closer one, then the earlier.
func strongest(all []found) []found {
	slices.SortStableFunc(all, func(a, b found) int {
		if d := b.weight() - a.weight(); d != 0 {
			return d
		}
		if d := (a.end - a.start) - (b.end - b.start); d != 0 {
			return d
		}
		return a.start - b.start
	})
	var kept []found
	for _, f := range all {
		if !slices.ContainsFunc(kept, func(k found) bool { return k.start < f.end && f.start < k.end && rivals(k, f) }) {
			kept = append(kept, f)
		}
	}
	slices.SortStableFunc(kept, func(a, b found) int { return a.start - b.start })
	return kept
}

func rivals(a, b found) bool {
	if a.def == nil || b.def == nil {
		return a.def == b.def // two views
	}
	return a.def == b.def || a.def.Group != "" && a.def.Group == b.def.Group
}

// negationReach is how many words a negation reaches.
const negationReach = 8

// negated reports whether the phrase is denied; taken is false when that
// cannot be told, or when the phrase is only suspected.
func (l *lexicon) negated(words []word, f found) (negated, taken bool) {
	if l.doubtedAfter(words, f.end) {
		return false, false
	}
	own, within := l.negationInside(words, f.span)
	unclear, list := false, l.listGoesOn(words, f.end)
scan:
	for i := f.start; i > 0 && f.start-i < negationReach; {
		if words[i].before == comma && !list {
			unclear = true
		}
		i--
		if n := endsAt(l.harmless, words, i); n > 0 {
			i -= n - 1
			continue
		}
		if endsAt(l.hedges, words, i) > 0 || words[i].text == questionMark {
			return false, false
		}
		if unclear && startsAt(l.after, words, i) {
			break // "IVC not seen, hepatic veins normal": the negation has its object before it
		}
		if endsAt(l.before, words, i) > 0 && !own {
			return !unclear, !unclear
		}
		switch w := words[i].text; {
		case l.until[w]:
			break scan
		case l.aside[w]:
			// "not in sinus rhythm" denies, "no effusion in sinus rhythm" does not.
			if i == 0 || endsAt(l.before, words, i-1) == 0 {
				break scan
			}
		case l.through[w]:
			list = true
		case l.unclear[w]:
			unclear = true
		}
	}
	if own {
		return false, true
	}
	return within || l.deniedAfter(words, f.end), true
}

// negationInside tells a negation that is part of the phrase (own) from one
// that a gap let through (within), as in "IVC not dilated".
func (l *lexicon) negationInside(words []word, s span) (own, within bool) {
	for i := s.start; i < s.end; i++ {
		switch {
		case startsAt(l.harmless, words, i):
			for i+1 < s.end && s.own>>(i+1-s.start)&1 == 0 {
				i++
			}
		default:
			n := max(endsAt(l.before, words, i), endsAt(l.after, words, i))
			for k := i - n + 1; k <= i; k++ {
				if k < s.start || s.own>>(k-s.start)&1 == 0 {
					within, n = true, 0
				}
			}
			own = own || n > 0
		}
	}
	return own, within && !own
}

// listGoesOn reports whether an "or" follows shortly: "no TR, MR or AR".
func (l *lexicon) listGoesOn(words []word, i int) bool {
	for k := i; k < len(words) && k < i+4; k++ {
		if l.through[words[k].text] {
			return true
		}
		if l.until[words[k].text] || l.unclear[words[k].text] {
			return false
		}
	}
	return false
}

// deniedAfter reports whether a negation follows within three words: "IVC not
// seen", or a bare answer: "TR: no".
func (l *lexicon) deniedAfter(words []word, i int) bool {
	if i < len(words) && words[i].before == colon && (i+1 == len(words) || words[i+1].before == comma) && endsAt(l.before, words, i) > 0 {
		return true
	}
	return l.follows(l.after, words, i)
}

// doubtedAfter reports whether a doubt follows within three words: "effusion
// cannot be excluded".
func (l *lexicon) doubtedAfter(words []word, i int) bool { return l.follows(l.doubted, words, i) }

// follows reports whether one of the terms follows within three words, with nothing
// between that may begin a phrase of its own.
func (l *lexicon) follows(terms []sequenceList, words []word, i int) bool {
	for k := i; k < len(words) && k <= i+gapWords; k++ {
		if words[k].before == comma {
			return false
		}
		if startsAt(terms, words, k) {
			return true
		}
		if exact, initial := l.candidates(words[k].text); l.stops[words[k].text] || len(exact)+len(initial) > 0 {
			return false
		}
	}
	return false
}

// endsAt gives the length of the longest term whose last word is at i, 0 for
// none.
func endsAt(terms []sequenceList, words []word, i int) int {
	best := 0
	for _, t := range terms {
		if n := len(t); n > best && i-n+1 >= 0 && t[n-1].matches(words[i].text) && sequenceAt(t, words, i-n+1) {
			best = n
		}
	}
	return best
}

func startsAt(terms []sequenceList, words []word, i int) bool {
	return slices.ContainsFunc(terms, func(t sequenceList) bool { return sequenceAt(t, words, i) })
}

// InText finds statements in a report text, sentence by sentence, in order. A
// statement that stands with several views comes once per view.
func (c *Catalogue) InText(text string) []Match {
	var out []Match
	for _, s := range c.words.sentences(text) {
		all := c.words.find(s.words)
		var views []string
		for _, f := range all {
			if f.def == nil && !slices.Contains(views, f.view) {
				views = append(views, f.view)
			}
		}
		if views == nil {
			views = []string{""}
		}
		for _, f := range all {
			if f.def == nil {
				continue
			}
			for _, v := range views {
				m := Match{f.def.Identifier, f.negated, s.quote, v}
				out = appendNew(out, m)
				if opposite, ok := c.Implied(m.Identifier); ok {
					m.Identifier, m.Negated = opposite, !m.Negated
					out = appendNew(out, m)
				}
			}
		}
	}
	return out
}

func appendNew(out []Match, m Match) []Match {
	if slices.Contains(out, m) {
		return out
	}
	return append(out, m)
}
