package datafile

import (
	"bytes"
	"embed"
	"io/fs"
)

// Linted reports whether the files of a layer are known to be free of faults:
// they are embedded in the program, and its tests lint them. What only finds
// faults, or may be made when it is first needed, can wait for them.
func Linted(layer fs.FS) bool {
	_, embedded := layer.(embed.FS)
	return embedded
}

// Unlinted hides that a layer is linted, so that it is looked through as any
// other.
func Unlinted(layer fs.FS) fs.FS {
	if !Linted(layer) {
		return layer
	}
	return struct{ fs.FS }{layer}
}

// Without takes a key of any mapping, with all that stands below it, out of a
// file that is linted.
func Without(src []byte, key string) []byte {
	out, head, inside := make([]byte, 0, len(src)), []byte(key+":"), -1
	for line := range bytes.Lines(src) {
		text := bytes.TrimLeft(line, " ")
		indent := len(line) - len(text)
		switch {
		case inside >= 0 && (len(bytes.TrimSpace(text)) == 0 || text[0] == '#' || indent > inside || indent == inside && text[0] == '-'):
			continue
		case bytes.HasPrefix(text, head):
			inside = indent
			continue
		}
		inside = -1
		out = append(out, line...)
	}
	return out
}
