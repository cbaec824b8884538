package statement

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// gap is what stands between a word and the one before it.
type gap byte

const (
	plain gap = iota
	colon
	comma // also brackets, dashes between words and a line end within a sentence
)

// word is one folded word of a sentence.
type word struct {
	text   string
	before gap
}

// sentence is one sentence with its words.
type sentence struct {
	quote string
	words []word
}

// questionMark stands for a "?" before a word, which asks for what follows.
const questionMark = "?"

// maxWords bounds a sentence; a longer run without a stop is cut.
const maxWords = 200

// wrapWidth is the shortest line that is taken for one wrapped in the middle of
// a sentence when no stop ends it.
const wrapWidth = 50

// Fold lowers a word and takes its marks off, so that "Oedème", "OEDEME" and
// "oedème" are the same.
func Fold(s string) string {
	ascii := true
	for i := range len(s) {
		if s[i] >= utf8.RuneSelf {
			ascii = false
			break
		}
	}
	if ascii {
		return strings.ToLower(s)
	}
	var b strings.Builder
	for _, r := range norm.NFKD.String(strings.ToLower(s)) {
		switch {
		case unicode.Is(unicode.Mn, r):
		case r == 'ß':
			b.WriteString("ss")
		case r == 'œ':
			b.WriteString("oe")
		case r == 'æ':
			b.WriteString("ae")
		case r == 'ø':
			b.WriteByte('o')
		case r == 'ł':
			b.WriteByte('l')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// splitter cuts a text into sentences.
type splitter struct {
	text          string
	abbreviations map[string]bool
	out           []sentence
	words         []word
	start         int // byte where the current sentence began
	lineStart     int
	before        gap
}

func (l *lexicon) sentences(text string) []sentence {
	s := &splitter{text: strings.ToValidUTF8(text, " "), abbreviations: l.abbreviations}
	for i := 0; i < len(s.text); {
		r, size := utf8.DecodeRuneInString(s.text[i:])
		if isWordRune(r) {
			i = s.word(i)
			continue
		}
		s.punctuation(i, size, r)
		i += size
	}
	s.end(len(s.text))
	return s.out
}

func isWordRune(r rune) bool {
	return unicode.IsLetter(r) || unicode.IsDigit(r) || unicode.Is(unicode.Mn, r)
}

// word takes the word at byte i and returns the byte after it. "2+" and "2.9"
// are one word each.
func (s *splitter) word(i int) int {
	j := i
	for j < len(s.text) {
		r, size := utf8.DecodeRuneInString(s.text[j:])
		digitBefore := j > i && s.text[j-1] >= '0' && s.text[j-1] <= '9'
		inNumber := digitBefore && (r == '+' || (r == '.' || r == ',') && j+1 < len(s.text) && s.text[j+1] >= '0' && s.text[j+1] <= '9')
		if !isWordRune(r) && !inNumber {
			break
		}
		j += size
	}
	s.words = append(s.words, word{Fold(s.text[i:j]), s.before})
	s.before = plain
	if len(s.words) >= maxWords {
		s.end(j)
	}
	return j
}

func (s *splitter) punctuation(i, size int, r rune) {
	rest := s.text[i+size:]
	switch r {
	case '.':
		if (rest == "" || rest[0] == ' ' || rest[0] == '\n' || rest[0] == '\r' || rest[0] == '\t') && !s.abbreviated() {
			s.end(i + size)
		}
	case '?':
		if next, _ := utf8.DecodeRuneInString(strings.TrimLeft(rest, " ")); isWordRune(next) && (i == 0 || strings.IndexByte(" (\n", s.text[i-1]) >= 0) {
			s.words = append(s.words, word{questionMark, s.before}) // "? tamponade"
			s.before = plain
			return
		}
		s.words = nil // a question states nothing: "AF?" is dropped with its sentence
		s.end(i + size)
	case '!', ';', '•', '。':
		s.end(i + size)
	case '\n':
		s.line(i, rest)
	case ',', '(', ')', '[', ']', '–', '—':
		s.before = comma
	case '-':
		if strings.HasPrefix(rest, " ") {
			s.before = comma
		}
	case ':', '=':
		s.before = max(s.before, colon)
	}
}

// abbreviated reports whether the stop just met belongs to the word before it.
func (s *splitter) abbreviated() bool {
	if len(s.words) == 0 {
		return false
	}
	last := s.words[len(s.words)-1].text
	single := utf8.RuneCountInString(last) == 1 && unicode.IsLetter([]rune(last)[0])
	return single || s.abbreviations[last]
}

// line decides whether a line end ends the sentence: it does unless the next
// line goes on in lower case, or this one is long enough to have been wrapped.
func (s *splitter) line(i int, rest string) {
	width := utf8.RuneCountInString(s.text[s.lineStart:i])
	s.lineStart = i + 1
	r, _ := utf8.DecodeRuneInString(strings.TrimLeft(rest, " \t\r"))
	switch {
	case unicode.IsLower(r):
	case width >= wrapWidth && unicode.IsLetter(r):
		s.before = comma
	default:
		s.end(i)
	}
}

// end closes the sentence at byte i.
func (s *splitter) end(i int) {
	if len(s.words) > 0 {
		quote := strings.Join(strings.Fields(s.text[s.start:i]), " ")
		s.out = append(s.out, sentence{quote, s.words})
	}
	s.words, s.start, s.before = nil, i, plain
}
