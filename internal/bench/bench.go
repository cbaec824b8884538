// Package bench is test support: report files of stated sizes and forms, for
// measuring how fast they are read. The script .ci/bench and the benchmarks of
// several packages use the same ones, so that their figures can be compared.
package bench

import (
	"fmt"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/demo/casebook"
)

// Size is about how long a report is, in bytes.
type Size struct {
	Name  string
	Bytes int
}

// Sizes are those measured: a short report, an ordinary one, a long one, and one
// longer than any lab sends.
func Sizes() []Size {
	return []Size{{"7kB", 7_000}, {"77kB", 77_000}, {"140kB", 140_000}, {"1MB", 1_000_000}}
}

// Form is one way to lay out the same report.
type Form struct {
	Name     string
	Encoding dcmtest.Encoding
}

// Forms are those measured.
func Forms() []Form {
	return []Form{
		{"explicit", dcmtest.Encoding{DefinedLengths: true}},
		{"implicit", dcmtest.Encoding{TransferSyntax: dcm.ImplicitVRLittleEndian, DefinedLengths: true}},
		{"undefined", dcmtest.Encoding{}},
		{"deflated", dcmtest.Encoding{TransferSyntax: dcm.DeflatedExplicitVRLittleEndian, DefinedLengths: true}},
	}
}

var (
	tagSOPInstance = dcm.T(0x00080018)
	tagStudy       = dcm.T(0x0020000D)
	tagContent     = dcm.T(0x0040A730)
)

// Reports makes different reports of about the size from those of the invented lab,
// by leaving out or repeating the content of their sections.
func Reports(size, count int) []dcm.Dataset {
	var sources []dcm.Dataset
	for _, study := range casebook.Studies(casebook.Options{Seed: 1}) {
		for _, o := range study.Objects {
			if o.Raw == nil && o.Keep == 0 && len(o.Dataset.Sequence(tagContent)) > 0 {
				sources = append(sources, o.Dataset)
				break
			}
		}
	}
	out := make([]dcm.Dataset, count)
	for i := range out {
		out[i] = resize(sources[i%len(sources)], size)
		out[i].Set(
			dcm.Strings(tagSOPInstance, fmt.Sprintf("2.25.7.%d.%d", size, i)),
			dcm.Strings(tagStudy, fmt.Sprintf("2.25.8.%d.%d", size, i)),
		)
	}
	return out
}

// resize fills a report with what stands in its sections, from the beginning
// again and again, up to the size.
func resize(d dcm.Dataset, size int) dcm.Dataset {
	out := dcm.New(d.Elements...)
	out.Remove(tagContent)
	left := size - length(out)
	var content []dcm.Dataset
	for before := left + 1; left > 0 && left < before; {
		before = left
		var more []dcm.Dataset
		more, left = fill(d.Sequence(tagContent), left)
		content = append(content, more...)
	}
	out.Set(dcm.Sequence(tagContent, content...))
	return out
}

// fill takes items as long as there is room, of one that is too long what fits of
// its own content. It returns the room left.
func fill(items []dcm.Dataset, room int) ([]dcm.Dataset, int) {
	var out []dcm.Dataset
	for _, item := range items {
		n := length(item)
		content := item.Sequence(tagContent)
		switch {
		case n <= room:
			out, room = append(out, item), room-n
			continue
		case len(content) == 0:
			return out, 0
		}
		frame := dcm.New(item.Elements...)
		frame.Remove(tagContent)
		if content, _ = fill(content, room-length(frame)); len(content) > 0 {
			frame.Set(dcm.Sequence(tagContent, content...))
			out = append(out, frame)
		}
		return out, 0
	}
	return out, room
}

// length is how many bytes a data set takes in an explicit form.
func length(d dcm.Dataset) int {
	return len(dcmtest.Encode(d, dcmtest.Encoding{DefinedLengths: true, NoMeta: true}))
}
