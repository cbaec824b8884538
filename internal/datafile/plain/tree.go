// Package plain owns the small part of YAML that most data files are written in: it is
// read straight into Go values, and given up wherever a file goes beyond it.
package plain

import (
	"strings"
	"sync"
	"unicode/utf8"
)

// Most data files use a small part of YAML, which is read here straight into a
// tree. Whatever lies beyond that part, is doubtful or wrong is left to the YAML
// library, which also has the words for it; so this reader need not know why it
// gives up.

// form is what a node is.
type form uint8

const (
	plainScalar  form = iota
	quotedScalar      // in quotes or as a block: always a text
	sequence
	mapping
)

// node is a value of the file. Nodes lie in one slice and refer to each other by
// their place in it; 0 is the root and nobody's child or neighbour.
type node struct {
	form        form
	text        string // of a scalar
	key         string // under which it stands in a mapping
	child, next int32
}

// maxDepth bounds how deep values lie in each other.
const maxDepth = 40

// reader reads the block and flow forms of one file. Each of its methods reports
// whether it understood.
type reader struct {
	src    string
	at     int
	more   bool // there is a further line with content, at points to its first letter
	indent int  // of that line
	depth  int
	leave  string // the key of mappings in blocks that is passed over, with all below it; "" for none
	nodes  []node
}

// readers are kept for the room of their nodes, which is for the largest file of hundreds.
var readers = sync.Pool{New: func() any { return &reader{nodes: make([]node, 0, 1024)} }}

// readTree reads a file, without what stands under the key to leave; false when it is
// not sure what the file says. The nodes are the reader's, until it is done with.
func (r *reader) readTree(src, leave string) bool {
	r.src, r.at, r.depth, r.leave, r.nodes = src, 0, 0, leave, r.nodes[:0]
	if !plainText(src) {
		return false
	}
	r.line()
	if !r.more || r.indent != 0 {
		return false
	}
	_, ok := r.block(0)
	return ok && !r.more
}

// done gives the reader back, without anything of the file.
func (r *reader) done() {
	clear(r.nodes)
	r.src = ""
	readers.Put(r)
}

// plainText reports whether the text holds no letters that YAML treats in a way
// of its own.
func plainText(src string) bool {
	if !utf8.ValidString(src) {
		return false
	}
	for i := 0; i < len(src); i++ {
		switch c := src[i]; {
		case c >= ' ' && c < 0x7F, c == '\n':
		case c < ' ', c == 0x7F:
			return false
		case c == 0xC2 && src[i+1] < 0xA1, c == 0xE2 && src[i+1] == 0x80 && src[i+2] >= 0xA8 && src[i+2] <= 0xAF, c == 0xEF:
			return false // controls, fixed spaces, separators of lines, the byte order mark
		}
	}
	return true
}

// line goes to the first letter of the next line with content. It is called at
// the beginning of a line.
func (r *reader) line() {
	for r.at < len(r.src) {
		i := r.at
		for i < len(r.src) && r.src[i] == ' ' {
			i++
		}
		if i < len(r.src) && r.src[i] != '\n' && r.src[i] != '#' {
			r.indent, r.at, r.more = i-r.at, i, true
			return
		}
		r.at = afterLine(r.src, i)
	}
	r.more, r.indent = false, -1
}

func afterLine(src string, i int) int {
	if n := strings.IndexByte(src[i:], '\n'); n >= 0 {
		return i + n + 1
	}
	return len(src)
}

// end goes from behind a value to the next line; nothing but a comment may
// follow the value.
func (r *reader) end() bool {
	start := r.at
	for r.peek(0) == ' ' {
		r.at++
	}
	if c := r.peek(0); c != '\n' && c != 0 && (c != '#' || r.at == start) {
		return false
	}
	r.at = afterLine(r.src, r.at)
	r.line()
	return true
}

// peek gives the letter n places ahead, 0 behind the end.
func (r *reader) peek(n int) byte {
	if r.at+n < len(r.src) {
		return r.src[r.at+n]
	}
	return 0
}

func (r *reader) add(n node) int32 {
	r.nodes = append(r.nodes, n)
	return int32(len(r.nodes) - 1)
}

// link hangs a node below another, behind the one before it.
func (r *reader) link(parent int32, last *int32, child int32) {
	if *last == 0 {
		r.nodes[parent].child = child
	} else {
		r.nodes[*last].next = child
	}
	*last = child
}

// block reads the value that begins with the line at hand.
func (r *reader) block(parent int) (int32, bool) {
	if r.depth++; r.depth > maxDepth {
		return 0, false
	}
	defer func() { r.depth-- }()
	if r.dash() {
		return r.blockSequence(r.indent)
	}
	if key, ok := r.keyed(); ok {
		return r.blockMapping(r.indent, key)
	}
	return r.inline(parent)
}

// dash reports whether an entry of a sequence begins here.
func (r *reader) dash() bool {
	c := r.peek(1)
	return r.peek(0) == '-' && (c == ' ' || c == '\n' || c == 0)
}

// keyed reads a key if one begins here, and stays otherwise.
func (r *reader) keyed() (string, bool) {
	was := r.at
	key, ok := r.key()
	if !ok {
		r.at = was
	}
	return key, ok
}

// key reads a key and its colon.
func (r *reader) key() (string, bool) {
	var key string
	switch c := r.peek(0); {
	case c == '"' || c == '\'':
		text, ok := r.quoted()
		if !ok {
			return "", false
		}
		key = text
	case isWordStart(c):
		i := r.at
		for ; i < len(r.src); i++ {
			if c := r.src[i]; c == ':' && (i+1 == len(r.src) || r.src[i+1] == ' ' || r.src[i+1] == '\n') {
				break
			} else if c < utf8.RuneSelf && marks[c] {
				return "", false
			}
		}
		key, r.at = r.src[r.at:i], i
		if strings.HasSuffix(key, " ") || !isText(key) {
			return "", false
		}
	default:
		return "", false
	}
	c := r.peek(1)
	if r.peek(0) != ':' || c != ' ' && c != '\n' && c != 0 {
		return "", false
	}
	r.at++
	return key, true
}

// marks are the letters no key without quotes has.
var marks = [utf8.RuneSelf]bool{'\n': true, ':': true, '{': true, '}': true, '[': true, ']': true, ',': true, '&': true, '*': true, '!': true,
	'|': true, '<': true, '>': true, '=': true, '?': true, '"': true, '#': true, '%': true, '@': true, '`': true}

func isWordStart(c byte) bool {
	return c == '_' || c|0x20 >= 'a' && c|0x20 <= 'z' || c >= '0' && c <= '9' || c >= utf8.RuneSelf
}

// blockMapping reads a mapping from behind its first key.
func (r *reader) blockMapping(indent int, key string) (int32, bool) {
	self, last := r.add(node{form: mapping}), int32(0)
	for {
		if key == r.leave && key != "" {
			r.pass(indent)
		} else if child, ok := r.valueOf(indent); ok {
			r.nodes[child].key = key
			r.link(self, &last, child)
		} else {
			return 0, false
		}
		var ok bool
		if !r.more || r.indent < indent {
			return self, true
		}
		if key, ok = r.key(); !ok || r.indent > indent {
			return 0, false
		}
	}
}

// pass goes from behind a key beyond all that belongs to it.
func (r *reader) pass(indent int) {
	for {
		r.at = afterLine(r.src, r.at)
		if r.line(); !r.more || r.indent < indent || r.indent == indent && !r.dash() {
			return
		}
	}
}

// valueOf reads what stands behind a key, on its line or on those below.
func (r *reader) valueOf(indent int) (int32, bool) {
	for r.peek(0) == ' ' {
		r.at++
	}
	if c := r.peek(0); c != '\n' && c != 0 && c != '#' {
		return r.inline(indent)
	}
	if r.src[r.at-1] == ':' && r.peek(0) == '#' || !r.end() || !r.more {
		return 0, false
	}
	if r.indent > indent || r.indent == indent && r.dash() {
		return r.block(indent)
	}
	return 0, false // no value
}

func (r *reader) blockSequence(indent int) (int32, bool) {
	self, last := r.add(node{form: sequence}), int32(0)
	for r.more && r.indent == indent && r.dash() {
		r.at++
		for r.peek(0) == ' ' {
			r.at++
		}
		column := r.at - 1 - strings.LastIndexByte(r.src[:r.at], '\n')
		var child int32
		var ok bool
		if c := r.peek(0); c == '\n' || c == 0 || c == '#' {
			if !r.end() || !r.more || r.indent <= indent {
				return 0, false
			}
			child, ok = r.block(indent)
		} else if r.dash() {
			return 0, false
		} else if key, is := r.keyed(); is {
			child, ok = r.blockMapping(column, key)
		} else {
			child, ok = r.inline(indent)
		}
		if !ok {
			return 0, false
		}
		r.link(self, &last, child)
	}
	return self, !r.more || r.indent <= indent
}

// inline reads a value that begins here, and goes to the next line.
func (r *reader) inline(indent int) (int32, bool) {
	switch r.peek(0) {
	case '|', '>':
		return r.folded(indent)
	case '{', '[':
		n, ok := r.flow(indent)
		return n, ok && r.end()
	case '"', '\'':
		text, ok := r.quoted()
		return r.add(node{form: quotedScalar, text: text}), ok && r.end()
	}
	text, ok := r.unquoted()
	if !plainStart(text) {
		return 0, false
	}
	for ok && r.goesOn(indent) {
		var more string
		more, ok = r.unquoted()
		ok = ok && more[0] != '-' // the library breaks the text there
		text += " " + more
	}
	return r.add(node{text: text}), ok && r.end()
}

// unquoted reads a text without quotes to the end of its line.
func (r *reader) unquoted() (string, bool) {
	i := r.at
	for i < len(r.src) && r.src[i] != '\n' && !(r.src[i] == '#' && r.src[i-1] == ' ') {
		i++
	}
	text := strings.TrimRight(r.src[r.at:i], " ")
	r.at += len(text)
	return text, !strings.Contains(text, ": ") && !strings.HasSuffix(text, ":")
}

// goesOn goes to the next line when a text without quotes goes on there: right
// below, and set in further than what it belongs to.
func (r *reader) goesOn(indent int) bool {
	if r.peek(0) != '\n' {
		return false
	}
	i := r.at + 1
	for i < len(r.src) && r.src[i] == ' ' {
		i++
	}
	if i == len(r.src) || r.src[i] == '\n' || r.src[i] == '#' || i-r.at-1 <= indent {
		return false
	}
	r.at = i
	return true
}

// plainStart reports whether a text without quotes may begin like that.
func plainStart(text string) bool {
	return text != "" && strings.IndexByte("?:,[]{}#&*!|>'\"%@`~=", text[0]) < 0 && !strings.HasPrefix(text, "---") && !strings.HasPrefix(text, "...") &&
		!strings.HasPrefix(text, "- ") && text != "-" && !strings.HasPrefix(text, "<<")
}

// quoted reads a text in quotes that ends on its line.
func (r *reader) quoted() (string, bool) {
	quote, start := r.peek(0), r.at+1
	for i := start; i < len(r.src); i++ {
		switch c := r.src[i]; {
		case c == '\n':
			return "", false
		case c == '\\' && quote == '"':
			return r.escaped(start)
		case c == quote && quote == '\'' && i+1 < len(r.src) && r.src[i+1] == quote:
			return "", false
		case c == quote:
			r.at = i + 1
			return r.src[start:i], true
		}
	}
	return "", false
}

// escaped reads a text in double quotes in which some letters are written with a
// backslash.
func (r *reader) escaped(start int) (string, bool) {
	var b strings.Builder
	for i := start; i < len(r.src); i++ {
		switch c := r.src[i]; c {
		case '\n':
			return "", false
		case '"':
			r.at = i + 1
			return b.String(), true
		case '\\':
			if i++; i == len(r.src) || r.src[i] != '"' && r.src[i] != '\\' {
				return "", false
			}
			b.WriteByte(r.src[i])
		default:
			b.WriteByte(c)
		}
	}
	return "", false
}

// folded reads a text on lines of its own: those of | stay apart, those of > are
// joined.
func (r *reader) folded(indent int) (int32, bool) {
	joined := r.peek(0) == '>'
	strip := r.peek(1) == '-'
	if r.at++; strip {
		r.at++
	}
	if r.peek(0) != '\n' {
		return 0, false
	}
	r.at++
	column, blank := 0, 0
	var b strings.Builder
	for r.at < len(r.src) {
		i := r.at
		for i < len(r.src) && r.src[i] == ' ' {
			i++
		}
		if i < len(r.src) && r.src[i] == '\n' {
			if blank++; column == 0 || i-r.at > column {
				return 0, false
			}
			r.at = i + 1
			continue
		}
		if column == 0 {
			column = i - r.at
		}
		if column <= indent || i == len(r.src) {
			return 0, false
		}
		if i-r.at < column {
			break
		}
		next := afterLine(r.src, i)
		line := strings.TrimSuffix(r.src[r.at+column:next], "\n")
		if next == len(r.src) && r.src[next-1] != '\n' || strings.HasSuffix(line, " ") || joined && line[0] == ' ' {
			return 0, false
		}
		if b.Len() > 0 {
			writeBreak(&b, joined, blank)
		}
		b.WriteString(line)
		r.at, blank = next, 0
	}
	if b.Len() == 0 {
		return 0, false
	}
	if !strip {
		b.WriteByte('\n')
	}
	r.line()
	return r.add(node{form: quotedScalar, text: b.String()}), true
}

// writeBreak writes what stands for the end of a line and the blank lines behind
// it.
func writeBreak(b *strings.Builder, joined bool, blank int) {
	switch {
	case !joined:
		b.WriteByte('\n')
	case blank == 0:
		b.WriteByte(' ')
	}
	for range blank {
		b.WriteByte('\n')
	}
}
