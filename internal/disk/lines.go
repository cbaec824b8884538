package disk

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
)

// Lines is a file that lines are added to. It is for one goroutine.
type Lines struct {
	name string
	file *os.File
	size int64
	n    int
}

// OpenLines opens such a file, which need not be there, and hands on each of its lines.
// Half a line at the end, which a crash left, is taken out.
func OpenLines(name string, each func(line string)) (*Lines, error) {
	f, err := os.OpenFile(name, os.O_CREATE|os.O_RDWR|os.O_APPEND, 0o600)
	if err != nil {
		return nil, err
	}
	l := &Lines{name: name, file: f}
	if err := l.read(each); err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return l, nil
}

func (l *Lines) read(each func(string)) error {
	if info, err := l.file.Stat(); err != nil || !info.Mode().IsRegular() {
		return errors.Join(err, fmt.Errorf("%s is no regular file: %w", l.name, fs.ErrInvalid))
	}
	content, err := io.ReadAll(l.file)
	if err != nil {
		return err
	}
	whole := content[:bytes.LastIndexByte(content, '\n')+1]
	for line := range strings.Lines(string(whole)) {
		l.n++
		each(strings.TrimSuffix(line, "\n"))
	}
	l.size = int64(len(whole))
	return l.file.Truncate(l.size)
}

// Count is how many lines there are.
func (l *Lines) Count() int { return l.n }

// Add adds a line, which has no line end in it, on the disk. A line that could not be
// added leaves nothing of itself.
func (l *Lines) Add(line string) error {
	_, err := l.file.WriteString(line + "\n")
	if err = errors.Join(err, l.file.Sync()); err != nil {
		return errors.Join(err, l.file.Truncate(l.size))
	}
	l.size += int64(len(line)) + 1
	l.n++
	return nil
}

// Replace puts other lines in the place of all.
func (l *Lines) Replace(lines []string) error {
	var b bytes.Buffer
	for _, line := range lines {
		b.WriteString(line + "\n")
	}
	if err := Write(l.name, b.Bytes()); err != nil {
		return err
	}
	f, err := os.OpenFile(l.name, os.O_RDWR|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	err = l.file.Close()
	l.file, l.size, l.n = f, int64(b.Len()), len(lines)
	return err
}

// Close closes the file.
func (l *Lines) Close() error { return l.file.Close() }
