package datafile

import (
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
