package rule

import "strings"

// eachWord calls do for each name in an expression, functions and operators
// among them, in order, and for those of the parts it defines. Texts in quotes
// hold no names.
func eachWord(text string, define map[string]string, do func(word string)) {
	spelled := map[string]bool(nil)
	var walk func(text string)
	walk = func(text string) {
		for i := 0; i < len(text); {
			switch c := text[i]; {
			case c == '"' || c == '\'' || c == '`':
				i = afterQuote(text, i)
			case isLetter(c):
				start := i
				for i < len(text) && (isLetter(text[i]) || text[i] >= '0' && text[i] <= '9') {
					i++
				}
				w := text[start:i]
				part, defined := define[w]
				if !defined {
					do(w)
				} else if !spelled[w] {
					if spelled == nil {
						spelled = map[string]bool{}
					}
					spelled[w] = true // a part that is used twice names nothing new
					walk(part)
				}
			case c >= '0' && c <= '9':
				for i < len(text) && (isLetter(text[i]) || text[i] >= '0' && text[i] <= '9' || text[i] == '.') {
					i++
				}
			default:
				i++
			}
		}
	}
	walk(text)
}

func isLetter(c byte) bool { return c == '_' || c|0x20 >= 'a' && c|0x20 <= 'z' || c >= 0x80 }

// afterQuote is the place behind the text in quotes that begins at i.
func afterQuote(text string, i int) int {
	quote := text[i]
	for i++; i < len(text); i++ {
		switch {
		case text[i] == '\\' && quote != '`':
			i++
		case text[i] == quote:
			return i + 1
		}
	}
	return len(text)
}

// eachInBraces calls do for each expression of a message, without the words that
// name what it counts.
func eachInBraces(message string, do func(text string)) {
	for {
		_, rest, ok := strings.Cut(message, "{")
		if !ok {
			return
		}
		inside, after, ok := strings.Cut(rest, "}")
		if !ok {
			return
		}
		source, _, _ := strings.Cut(inside, "|")
		from, to, isRange := strings.Cut(source, " to ")
		do(from)
		if isRange {
			do(to)
		}
		message = after
	}
}
