package main

import (
	"fmt"
	"os"
	"strings"

	"echotally/internal/printable"
)

// oneLine refuses a text that would end its line, or act otherwise, wherever it is
// shown.
func oneLine(what, text string) error {
	if strings.ContainsFunc(text, printable.Unsafe) {
		return faults{hinted{fmt.Errorf("%s holds a control character", what), "letters, digits and marks on one line will do"}}
	}
	return nil
}

// mostOfList is the largest list that is taken: a hundred times a year's times of a
// large lab.
const mostOfList = 256 << 20

// listFile opens a regular file. A pipe, which may give nothing, and a device, which
// may never end, are refused at once; so is a file larger than any list is.
func listFile(name string) (*os.File, error) {
	info, err := os.Stat(name)
	switch {
	case err != nil:
		return nil, err
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s is not a regular file", name)
	case info.Size() > mostOfList:
		return nil, fmt.Errorf("%s is larger than %d MiB", name, mostOfList>>20)
	}
	return os.Open(name)
}
