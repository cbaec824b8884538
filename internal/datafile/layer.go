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
func Unlinted(layer fs.FS) fs.FS { return struct{ fs.FS }{layer} }

// Without takes a key of the outermost mapping, with all that stands below it,
// out of a file that is linted.
func Without(src []byte, key string) []byte {
	head := []byte("\n" + key + ":")
	start := bytes.Index(src, head) + 1
	if start == 0 {
		return src
	}
	end := start + len(head)
	for end < len(src) {
		next := bytes.IndexByte(src[end:], '\n')
		if next < 0 {
			end = len(src)
			break
		}
		end += next + 1
		if end < len(src) && bytes.IndexByte([]byte(" -#\n"), src[end]) < 0 {
			break
		}
	}
	return append(bytes.Clone(src[:start]), src[min(end, len(src)):]...)
}
