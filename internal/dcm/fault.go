package dcm

import (
	"errors"
	"fmt"
	"strings"
)

// fault is a Refusal in the making: what stopped the walk and where.
type fault struct {
	Refusal
	cut bool // the file ends too early, as opposed to contradicting itself
}

func (f *fault) Error() string { return f.Refusal.Error() }

// asFault returns the fault that err is, or nil for an I/O error.
func asFault(err error) *fault {
	var f *fault
	if errors.As(err, &f) {
		return f
	}
	return nil
}

// step is one level of the path to the place being read.
type step struct {
	tag  Tag
	item int // 1-based, 0 before the first item
}

// path renders where the walk stands: "(0040,A730)[3]/(0040,A043)".
func (w *walker) path(last ...Tag) string {
	var b strings.Builder
	for i, s := range w.steps {
		if i > 0 {
			b.WriteByte('/')
		}
		b.WriteString(s.tag.String())
		if s.item > 0 {
			fmt.Fprintf(&b, "[%d]", s.item)
		}
	}
	for _, t := range last {
		if b.Len() > 0 {
			b.WriteByte('/')
		}
		b.WriteString(t.String())
	}
	return b.String()
}

// broken stops the walk at a contradiction in the file.
func (w *walker) broken(offset int64, path, format string, args ...any) error {
	return &fault{Refusal: Refusal{
		Offset: offset, TagPath: path, Reason: fmt.Sprintf(format, args...) + w.where,
		Hint: "the file contradicts itself; export or send the object again",
	}}
}

// cut stops the walk at the end of the file.
func (w *walker) cut(offset int64, path, format string, args ...any) error {
	return &fault{cut: true, Refusal: Refusal{
		Offset: offset, TagPath: path, Reason: fmt.Sprintf(format, args...) + w.where,
		Hint: "the file is cut short; export or send the object again",
	}}
}

// maxDeviations bounds the list; what comes after is counted.
const maxDeviations = 200

func (w *walker) deviation(path, clause, format string, args ...any) {
	if len(w.deviations) >= maxDeviations {
		w.moreDeviations++
		return
	}
	w.deviations = append(w.deviations, Deviation{TagPath: path, Clause: clause, Detail: fmt.Sprintf(format, args...)})
}
