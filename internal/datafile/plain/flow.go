package plain

import "strings"

// flow reads a sequence or mapping in brackets.
func (r *reader) flow(indent int) (int32, bool) {
	if r.depth++; r.depth > maxDepth {
		return 0, false
	}
	defer func() { r.depth-- }()
	closing, kind := byte(']'), sequence
	if r.peek(0) == '{' {
		closing, kind = '}', mapping
	}
	self, last := r.add(node{form: kind}), int32(0)
	r.at++
	if !r.space(indent) {
		return 0, false
	}
	if r.peek(0) == closing {
		r.at++
		return self, true
	}
	for {
		key := ""
		if kind == mapping {
			var ok bool
			if key, ok = r.key(); !ok || !r.space(indent) {
				return 0, false
			}
		}
		child, ok := r.flowValue(indent)
		if !ok || !r.space(indent) {
			return 0, false
		}
		r.nodes[child].key = key
		r.link(self, &last, child)
		switch r.peek(0) {
		case closing:
			r.at++
			return self, true
		case ',':
			if r.at++; !r.space(indent) {
				return 0, false
			}
		default:
			return 0, false
		}
	}
}

func (r *reader) flowValue(indent int) (int32, bool) {
	switch r.peek(0) {
	case '{', '[':
		return r.flow(indent)
	case '"', '\'':
		text, ok := r.quoted()
		return r.add(node{form: quotedScalar, text: text}), ok
	}
	i := r.at
	for i < len(r.src) && strings.IndexByte(",]}\n", r.src[i]) < 0 {
		if c := r.src[i]; c == '[' || c == '{' || c == '#' || c == '"' || c == ':' && (i+1 == len(r.src) || strings.IndexByte(" ,]}\n", r.src[i+1]) >= 0) {
			return 0, false
		}
		i++
	}
	text := strings.TrimRight(r.src[r.at:i], " ")
	r.at += len(text)
	return r.add(node{text: text}), plainStart(text)
}

// space skips spaces and the ends of lines within brackets. A line that goes on
// is set in further than what the brackets belong to.
func (r *reader) space(indent int) bool {
	for {
		for r.peek(0) == ' ' {
			r.at++
		}
		if r.peek(0) != '\n' {
			return r.peek(0) != 0 && r.peek(0) != '#'
		}
		start := r.at + 1
		for r.at = start; r.peek(0) == ' '; {
			r.at++
		}
		if r.at-start <= indent || r.peek(0) == '\n' || r.peek(0) == '-' {
			return false
		}
	}
}
