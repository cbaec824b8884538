// Package withhold owns the taking out of a patient's identity from texts that are quoted:
// a sentence of a report may name the person.
package withhold

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"echotally/internal/echo"
)

// Mark stands where a text named the patient.
const Mark = "(withheld)"

// Withholder takes the patient's identity out of quoted texts: a report's
// sentence may name the person. It is made once for a study. Parts of a name
// shorter than three letters are left, for they are found inside other words.
type Withholder struct {
	parts map[rune][][]rune // folded, by the first rune
}

// New is made of the name and the numbers of a patient.
func New(who echo.Identity) *Withholder {
	w := &Withholder{parts: map[rune][][]rune{}}
	parts := []string{who.PatientID.Reveal(), who.AccessionNumber.Reveal()}
	parts = append(parts, strings.FieldsFunc(who.PatientName.Reveal(), func(r rune) bool { return strings.ContainsRune("^= ,.", r) })...)
	for _, p := range parts {
		part := []rune(strings.TrimSpace(p))
		if len(part) < 3 {
			continue
		}
		for i, r := range part {
			part[i] = folded(r)
		}
		w.parts[part[0]] = append(w.parts[part[0]], part)
	}
	return w
}

// folded is the same for all forms of a letter that differ in case only.
func folded(r rune) rune {
	least := r
	for f := unicode.SimpleFold(r); f != r; f = unicode.SimpleFold(f) {
		least = min(least, f)
	}
	return least
}

func ofWord(r rune) bool { return unicode.IsLetter(r) || unicode.IsNumber(r) }

// From gives the text without the patient's identity. A part counts where it is
// no part of a longer word; parts that overlap go together.
func (w *Withholder) From(text string) string {
	if text == "" || len(w.parts) == 0 {
		return text
	}
	var out strings.Builder
	done, inWord := 0, false // end of what is settled; whether the last rune is of a word
	start, end := 0, -1      // of the span to withhold
	flush := func() {
		if end > start {
			out.WriteString(text[done:start] + Mark)
			done = end
		}
		end = -1
	}
	for i, r := range text {
		if !inWord {
			if n := w.at(text[i:], r); n > 0 {
				if i >= end {
					flush()
					start = i
				}
				end = max(end, i+n)
			}
		}
		inWord = ofWord(r)
	}
	flush()
	if done == 0 {
		return text
	}
	return out.String() + text[done:]
}

// at gives the length in bytes of the longest part that the text begins with, 0
// when it begins with none.
func (w *Withholder) at(text string, first rune) int {
	longest := 0
	for _, part := range w.parts[folded(first)] {
		n := 0
		for _, want := range part {
			r, size := utf8.DecodeRuneInString(text[n:])
			if size == 0 || folded(r) != want {
				n = -1
				break
			}
			n += size
		}
		if n <= longest {
			continue
		}
		if next, size := utf8.DecodeRuneInString(text[n:]); size == 0 || !ofWord(next) {
			longest = n
		}
	}
	return longest
}
