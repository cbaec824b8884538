package statement

import (
	"errors"
	"fmt"
	"math/bits"
	"slices"
	"strings"
)

// pattern is a compiled phrase: words, alternatives and gaps.
type pattern struct {
	parts []part
}

// part is one step of a pattern: a gap of up to three words, or one of several
// word sequences.
type part struct {
	gap     bool
	choices [][]literal
}

// literal is one word to match; prefix means "any ending".
type literal struct {
	text   string
	prefix bool
}

// Limits of a pattern; with them a match spans at most 64 words.
const (
	gapWords = 3
	maxGaps  = 4
	maxOwn   = 40
)

func (l literal) matches(w string) bool {
	return l.text == w || l.prefix && strings.HasPrefix(w, l.text)
}

// compiler keeps what it made of words and brackets: most stand in many phrases.
type compiler struct {
	known map[string][][]literal
	room  []part
}

func newCompiler() *compiler { return &compiler{known: map[string][][]literal{}} }

// compile reads the small language of the phrase files: words, word*, (a|b c),
// and ~ for up to three words.
func (c *compiler) compile(text string) (*pattern, error) {
	p := &pattern{parts: c.room[:0]}
	defer func() { c.room = p.parts[:0]; p.parts = slices.Clone(p.parts) }()
	gaps := 0
	for rest := strings.TrimSpace(text); rest != ""; rest = strings.TrimSpace(rest) {
		var token string
		switch {
		case rest[0] == '~':
			rest = rest[1:]
			if gaps++; gaps > maxGaps {
				return nil, fmt.Errorf("more than %d gaps (~)", maxGaps)
			}
			if len(p.parts) == 0 || p.parts[len(p.parts)-1].gap {
				return nil, errors.New("a gap (~) must stand between words")
			}
			p.parts = append(p.parts, part{gap: true})
			continue
		case rest[0] == '(':
			end := strings.IndexByte(rest, ')')
			if end < 0 {
				return nil, errors.New("the bracket is not closed")
			}
			token, rest = rest[1:end], rest[end+1:]
		default:
			end := strings.IndexAny(rest, " ~(\t")
			if end < 0 {
				end = len(rest)
			}
			token, rest = rest[:end], rest[end:]
		}
		choices, err := c.choices(token)
		if err != nil {
			return nil, err
		}
		p.parts = append(p.parts, part{choices: choices})
	}
	return p, p.fault()
}

// choices reads what stands between brackets, or one word.
func (c *compiler) choices(token string) ([][]literal, error) {
	if choices, known := c.known[token]; known {
		return choices, nil
	}
	choices, err := alternatives(token)
	if err == nil {
		c.known[token] = choices
	}
	return choices, err
}

// fault says why no text is looked through for a pattern.
func (p *pattern) fault() error {
	if len(p.parts) == 0 {
		return errors.New("no words")
	}
	if n := p.longest(); n > maxOwn {
		return fmt.Errorf("%d words, more than %d", n, maxOwn)
	}
	if p.parts[len(p.parts)-1].gap {
		return errors.New("a gap (~) must stand between words")
	}
	return nil
}

// longest counts the words of the longest reading, gaps aside.
func (p *pattern) longest() int {
	n := 0
	for _, part := range p.parts {
		most := 0
		for _, sequence := range part.choices {
			most = max(most, len(sequence))
		}
		n += most
	}
	return n
}

func alternatives(token string) ([][]literal, error) {
	var out [][]literal
	for alternative := range strings.SplitSeq(token, "|") {
		sequence, err := literals(alternative)
		if err != nil {
			return nil, err
		}
		if len(sequence) == 0 {
			return nil, errors.New("an alternative has no words")
		}
		out = append(out, sequence)
	}
	return out, nil
}

// literals cuts an alternative into words the way a text is cut.
func literals(text string) ([]literal, error) {
	var out []literal
	for field := range strings.FieldsSeq(text) {
		stem, prefix := strings.CutSuffix(field, "*")
		if strings.ContainsAny(stem, "*()~|") {
			return nil, fmt.Errorf("%q: only letters, digits and a final * may stand in a word", field)
		}
		if isPlainWord(stem) {
			out = append(out, literal{strings.ToLower(stem), prefix})
			continue
		}
		cut := (&lexicon{}).sentences(stem)
		if len(cut) != 1 {
			return nil, fmt.Errorf("%q is no word", field)
		}
		for _, w := range cut[0].words {
			out = append(out, literal{text: w.text})
		}
		out[len(out)-1].prefix = prefix
	}
	return out, nil
}

// isPlainWord reports whether a text is one word of ASCII letters and digits,
// which most are.
func isPlainWord(s string) bool {
	for i := range len(s) {
		if c := s[i]; !(c|0x20 >= 'a' && c|0x20 <= 'z' || c >= '0' && c <= '9') {
			return false
		}
	}
	return s != ""
}

// span is where a pattern matched. Bit i of own tells that word start+i is the
// pattern's own and not one that a gap let through.
type span struct {
	start, end int
	own        uint64
}

// weight is how many words are the pattern's own.
func (s span) weight() int { return bits.OnesCount64(s.own) }

// at matches the pattern with its first word at position i. stops are words a
// gap does not cross.
func (p *pattern) at(words []word, i int, stops map[string]bool) (span, bool) {
	m := matcher{words: words, start: i, stops: stops}
	end, own, ok := m.match(p.parts, i)
	return span{i, end, own}, ok
}

type matcher struct {
	words []word
	start int
	stops map[string]bool
}

func (m *matcher) match(parts []part, i int) (end int, own uint64, ok bool) {
	if len(parts) == 0 {
		return i, 0, true
	}
	if parts[0].gap {
		return m.skip(parts[1:], i)
	}
	for _, sequence := range parts[0].choices {
		if !sequenceAt(sequence, m.words, i) {
			continue
		}
		if end, own, ok = m.match(parts[1:], i+len(sequence)); ok {
			return end, own | (1<<len(sequence)-1)<<(i-m.start), true
		}
	}
	return 0, 0, false
}

// skip matches the parts behind a gap, which does not cross a comma or a word
// that begins another thought.
func (m *matcher) skip(parts []part, i int) (end int, own uint64, ok bool) {
	for n := 0; n <= gapWords && i+n < len(m.words); n++ {
		if m.words[i+n].before == comma {
			break
		}
		if end, own, ok = m.match(parts, i+n); ok {
			return end, own, true
		}
		if m.stops[m.words[i+n].text] {
			break
		}
	}
	return 0, 0, false
}

func sequenceAt(sequence []literal, words []word, i int) bool {
	if i+len(sequence) > len(words) {
		return false
	}
	for k, l := range sequence {
		if !l.matches(words[i+k].text) {
			return false
		}
	}
	return true
}
