package dcm_test

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"errors"
	"flag"
	"math"
	"os"
	"path/filepath"
	"runtime/metrics"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
)

var update = flag.Bool("update", false, "rewrite the files below testdata")

// raw explicit little endian pieces, for files that no writer makes

func short(tag uint32, vr, value string) string {
	return head(tag) + vr + string(binary.LittleEndian.AppendUint16(nil, uint16(len(value)))) + value
}

func long(tag uint32, vr string, length uint32, value string) string {
	return head(tag) + vr + "\x00\x00" + u32(length) + value
}

func sized(tag uint32, vr, value string) string { return long(tag, vr, uint32(len(value)), value) }

func implicit(tag uint32, value string) string { return head(tag) + u32(uint32(len(value))) + value }

func head(tag uint32) string {
	b := binary.LittleEndian.AppendUint16(nil, uint16(tag>>16))
	return string(binary.LittleEndian.AppendUint16(b, uint16(tag)))
}

func u32(n uint32) string { return string(binary.LittleEndian.AppendUint32(nil, n)) }

func item(length uint32, content string) string { return head(0xFFFEE000) + u32(length) + content }

const undefined = 0xFFFFFFFF

var (
	itemEnd     = head(0xFFFEE00D) + u32(0)
	sequenceEnd = head(0xFFFEE0DD) + u32(0)
)

// part10 puts preamble and meta header before a data set.
func part10(syntax, body string) string {
	if len(syntax)%2 == 1 {
		syntax += "\x00"
	}
	meta := short(0x00020010, "UI", syntax)
	return strings.Repeat("\x00", 128) + "DICM" + short(0x00020000, "UL", u32(uint32(len(meta)))) + meta + body
}

func plain(body string) string { return part10(dcm.ExplicitVRLittleEndian, body) }

func deflated(body string) string {
	var b bytes.Buffer
	w, _ := flate.NewWriter(&b, flate.BestCompression)
	w.Write([]byte(body))
	w.Close()
	return part10(dcm.DeflatedExplicitVRLittleEndian, b.String())
}

var (
	classOnly   = short(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.88.33\x00")
	reportStart = classOnly + short(0x0040A040, "CS", "CONTAINER ")
	imageStart  = short(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.6.1\x00")
	textItem    = short(0x0040A040, "CS", "TEXT") + sized(0x0040A160, "UT", "no")
	content     = sized(0x0040A730, "SQ", item(uint32(len(textItem)), textItem))
	whole       = reportStart + content
)

// nested is a chain of unclosed sequences and items.
func nested(depth int) string {
	return reportStart + strings.Repeat(long(0x0040A730, "SQ", undefined, item(undefined, "")), depth)
}

// hostileCase is a file, what becomes of it and what that says.
type hostileCase struct {
	name  string
	file  string
	state dcm.State
	says  string // in the refusal, a loss or a deviation; "" when there is nothing to say
	check func(*testing.T, *dcm.File)
}

// hostileCases reproduces what was measured to break other readers.
func hostileCases() []hostileCase {
	return append(structureCases(), append(headerCases(), append(valueCases(), sizeCases()...)...)...)
}

func structureCases() []hostileCase {
	inItem := func(content string) string {
		return plain(reportStart + sized(0x0040A730, "SQ", item(uint32(len(content)), content)))
	}
	return []hostileCase{
		{name: "whole-report", file: plain(whole), state: dcm.Read},
		{name: "element-in-defined-length-sequence", state: dcm.Refused, says: "not an item",
			file: plain(reportStart + sized(0x0040A730, "SQ", textItem))},
		{name: "stray-delimiter-in-defined-length-sequence", state: dcm.Read, says: "stray delimiter",
			file: plain(reportStart + sized(0x0040A730, "SQ", item(uint32(len(textItem)), textItem)+sequenceEnd))},
		{name: "only-a-delimiter-in-defined-length-sequence", state: dcm.Read, says: "stray delimiter",
			file: plain(reportStart + sized(0x0040A730, "SQ", sequenceEnd))},
		{name: "stray-item-delimiter-in-defined-length-item", file: inItem(textItem + itemEnd), state: dcm.Read, says: "stray delimiter"},
		{name: "item-longer-than-its-sequence", state: dcm.Refused, says: "left in the parent",
			file: plain(reportStart + sized(0x0040A730, "SQ", item(4000, textItem)) + sized(0x0040A733, "UN", strings.Repeat("x", 5000)))},
		{name: "element-longer-than-its-item", file: inItem(long(0x0040A160, "UT", 4000, "no")), state: dcm.Refused, says: "left in the parent"},
		{name: "item-of-undefined-length-not-closed-in-sequence", state: dcm.Refused, says: "not closed",
			file: plain(reportStart + sized(0x0040A730, "SQ", item(undefined, textItem)) + sized(0x0040A733, "UN", "xx"))},
		{name: "sequence-delimiter-closes-an-item", state: dcm.Refused, says: "where an element belongs",
			file: plain(reportStart + long(0x0040A730, "SQ", undefined, item(undefined, textItem)+sequenceEnd))},
		{name: "item-at-top-level", file: plain(reportStart + item(0, "") + content), state: dcm.Refused, says: "where an element belongs"},
		{name: "text-of-undefined-length", state: dcm.Refused, says: "undefined length",
			file: plain(reportStart + long(0x0040A160, "UT", undefined, item(0, "")+sequenceEnd))},
		{name: "report-without-content", file: plain(reportStart), state: dcm.Refused, says: "without a Content Sequence"},
		{name: "repeated-element", file: plain(whole + content), state: dcm.Partial, says: "(0040,A730) the element stands here more than once"},
		{name: "repeated-text", file: plain(reportStart + sized(0x0040A160, "UT", "a ") + sized(0x0040A160, "UT", "b ") + content), state: dcm.Read,
			says: "out of order or repeated", check: func(t *testing.T, f *dcm.File) {
				if got := f.Dataset.Text(textValue); got != "a" {
					t.Errorf("the first does not count: %q", got)
				}
			}},
		{name: "padding-of-zeros", file: plain(whole + strings.Repeat("\x00", 64)), state: dcm.Read, says: "64 bytes of padding"},
		{name: "padding-of-ff", file: plain(whole + strings.Repeat("\xff", 64)), state: dcm.Read, says: "64 bytes of padding"},
		{name: "padding-of-three-zeros", file: plain(whole + "\x00\x00\x00"), state: dcm.Read, says: "3 bytes of padding"},
		{name: "three-odd-bytes-behind", file: plain(whole + "\xfa\xff\xfa"), state: dcm.Partial, says: "behind the Content Sequence"},
		{name: "trailing-padding-element", file: plain(whole + sized(0xFFFCFFFC, "OB", "\x00\x00")), state: dcm.Read},
	}
}

func headerCases() []hostileCase {
	ts := "1.2.840.10008.1.2.1\x00"
	head := func(meta string) string { return strings.Repeat("\x00", 128) + "DICM" + meta }
	notes := strings.Repeat("These are the minutes of a meeting.\n", 10)
	return []hostileCase{
		{name: "empty", state: dcm.Refused, says: "empty file"},
		{name: "plain-text", file: notes, state: dcm.Refused, says: "not a DICOM file"},
		{name: "short-plain-text", file: notes[:40], state: dcm.Refused, says: "not a DICOM file"},
		{name: "preamble-only", file: head(""), state: dcm.Refused, says: "ends before the data set"},
		{name: "meta-header-only", file: plain(""), state: dcm.Refused, says: "ends before the data set"},
		{name: "no-preamble", file: plain(whole)[132:], state: dcm.Read, says: "no preamble"},
		{name: "no-meta-header", file: whole, state: dcm.Read, says: "no file meta information"},
		{name: "preamble-without-meta-header", file: head(whole), state: dcm.Read, says: "no file meta information"},
		{name: "no-group-length", file: head(short(0x00020010, "UI", ts) + whole), state: dcm.Read, says: "no group length"},
		{name: "wrong-group-length", state: dcm.Read, says: "group length is wrong",
			file: head(short(0x00020000, "UL", u32(4000)) + short(0x00020010, "UI", ts) + whole)},
		{name: "empty-group-length", state: dcm.Read, says: "no group length",
			file: head(short(0x00020000, "UL", "") + short(0x00020010, "UI", ts) + whole)},
		{name: "transfer-syntax-as-bytes", state: dcm.Read, says: "sent as OB",
			file: head(sized(0x00020010, "OB", ts) + whole)},
		{name: "unknown-transfer-syntax", file: part10("1.2.3.4", whole), state: dcm.Read, says: "unknown transfer syntax"},
		{name: "unknown-transfer-syntax-not-explicit", state: dcm.Refused, says: "unknown transfer syntax",
			file: part10("1.2.3.4", implicit(0x00080016, "1.2.840.10008.5.1.4.1.1.6.1\x00"))},
		{name: "explicit-data-under-implicit-syntax", file: part10(dcm.ImplicitVRLittleEndian, whole), state: dcm.Read, says: "against the transfer syntax"},
		{name: "implicit-data-under-explicit-syntax", state: dcm.Read, says: "against the transfer syntax",
			file: plain(implicit(0x00080016, "1.2.840.10008.5.1.4.1.1.6.1\x00"))},
		{name: "not-deflated-under-deflated-syntax", file: part10(dcm.DeflatedExplicitVRLittleEndian, whole), state: dcm.Refused, says: "inflate"},
	}
}

func valueCases() []hostileCase {
	report := func(element string) string { return plain(reportStart + element) }
	rest := content // read only when the element before is stepped over rightly
	un := implicit(0x00080100, "T-1 ")
	return []hostileCase{
		{name: "backslash-in-text", file: report(sized(0x0040A160, "UT", `a\b `) + rest), state: dcm.Read, check: func(t *testing.T, f *dcm.File) {
			if got := f.Dataset.Text(textValue); got != `a\b` {
				t.Errorf("text %q", got)
			}
		}},
		{name: "un-of-undefined-length", state: dcm.Read, check: hasCode,
			file: report(long(0x0040A043, "UN", undefined, item(undefined, un+itemEnd)+sequenceEnd) + rest)},
		{name: "un-of-defined-length", state: dcm.Read, check: hasCode,
			file: report(sized(0x0040A043, "UN", item(uint32(len(un)), un)) + rest)},
		{name: "un-that-is-no-sequence", file: report(sized(0x0040A043, "UN", "rubbish!") + rest), state: dcm.Read, says: "kept as bytes"},
		{name: "un-of-a-known-tag", file: report(sized(0x0040A160, "UN", "ab") + rest), state: dcm.Read, check: func(t *testing.T, f *dcm.File) {
			if f.Dataset.Text(textValue) != "ab" || f.Dataset.VR(textValue) != "UT" {
				t.Error("UN of a known tag not read by the dictionary")
			}
		}},
		{name: "private-un", file: plain(classOnly + short(0x00090010, "LO", "MAKER ") + sized(0x00091001, "UN", "\x01\x02") + content), state: dcm.Read,
			check: func(t *testing.T, f *dcm.File) {
				if got := f.Dataset.Bytes(dcm.T(0x00091001)); !bytes.Equal(got, []byte{1, 2}) || f.Dataset.Text(dcm.T(0x00090010)) != "MAKER" {
					t.Errorf("private value %v", got)
				}
			}},
		{name: "64-bit-integers", state: dcm.Read, check: wideIntegers,
			file: plain(classOnly + short(0x00090010, "LO", "MAKER ") + sized(0x00091001, "SV", "\xfe\xff\xff\xff\xff\xff\xff\xff") +
				sized(0x00091002, "UV", u32(0)+u32(1)) + sized(0x00091003, "OV", u32(7)+u32(0)) + content)},
		{name: "64-bit-integer-beyond-63-bits", file: plain(sized(0x00091002, "UV", u32(0)+u32(0x80000000)) + whole), state: dcm.Read, says: "kept as bytes"},
		{name: "other-floats", state: dcm.Read, check: otherFloats,
			file: plain(classOnly + sized(0x00091001, "OF", u32(math.Float32bits(0.1))) + sized(0x00091002, "OD", "\x00\x00\x00\x00\x00\x00\xe0\x3f") +
				sized(0x00091003, "OL", u32(9)) + content)},
		{name: "number-of-odd-size", file: plain(short(0x00280010, "US", "\x01\x02\x03\x04\x05\x06") + short(0x00280011, "US", "\x01\x02\x03") + whole),
			state: dcm.Read, says: "odd value length"},
		{name: "nan", file: report(short(0x0040A161, "FD", "\x00\x00\x00\x00\x00\x00\xf8\x7f") + rest), state: dcm.Read, check: func(t *testing.T, f *dcm.File) {
			if got := f.Dataset.Floats(dcm.T(0x0040A161)); len(got) != 1 || !math.IsNaN(got[0]) {
				t.Errorf("got %v", got)
			}
		}},
		{name: "question-marks-for-vr", file: report(short(0x0040A136, "??", "2020") + rest), state: dcm.Read, says: "unknown value representation"},
		{name: "unknown-vr-of-the-future", file: report(sized(0x0040A137, "XY", "2020") + rest), state: dcm.Read, says: "32-bit length"},
		{name: "implicit-element-in-explicit-data", file: report(implicit(0x0040A160, "ab") + rest), state: dcm.Read, says: "implicit VR element"},
		{name: "character-set-as-number", state: dcm.Read, says: "sent as US", file: plain(short(0x00080005, "US", "\x01\x00") + whole)},
		{name: "thai", state: dcm.Read, check: func(t *testing.T, f *dcm.File) {
			if got := f.Dataset.Text(patientName); got != "สม" {
				t.Errorf("name %q", got)
			}
		}, file: plain(short(0x00080005, "CS", "ISO_IR 166") + short(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.88.33\x00") +
			short(0x00100010, "PN", "\xca\xc1") + content)},
		{name: "icon-with-fragments", state: dcm.Read, check: func(t *testing.T, f *dcm.File) {
			if len(f.Skipped) != 1 || f.Skipped[0].TagPath != "(0088,0200)[1]/(7FE0,0010)" {
				t.Errorf("skipped %v", f.Skipped)
			}
		}, file: plain(imageStart + long(0x00880200, "SQ", undefined, item(undefined,
			long(0x7FE00010, "OB", undefined, item(0, "")+item(8, string(sequenceEnd))+sequenceEnd)+itemEnd)+sequenceEnd) +
			sized(0x7FE00010, "OW", "\x00\x00"))},
	}
}

func hasCode(t *testing.T, f *dcm.File) {
	items := f.Dataset.Sequence(dcm.T(0x0040A043))
	if len(items) != 1 || items[0].Text(dcm.T(0x00080100)) != "T-1" {
		t.Errorf("code not read from the UN sequence: %v", items)
	}
}

func wideIntegers(t *testing.T, f *dcm.File) {
	sv, uv := f.Dataset.Ints(dcm.T(0x00091001)), f.Dataset.Ints(dcm.T(0x00091002))
	if len(sv) != 1 || sv[0] != -2 || len(uv) != 1 || uv[0] != 1<<32 || len(f.Dataset.Bytes(dcm.T(0x00091003))) != 8 {
		t.Errorf("SV %v, UV %v", sv, uv)
	}
}

func otherFloats(t *testing.T, f *dcm.File) {
	of, od := f.Dataset.Floats(dcm.T(0x00091001)), f.Dataset.Floats(dcm.T(0x00091002))
	if len(of) != 1 || of[0] != 0.1 || len(od) != 1 || od[0] != 0.5 || len(f.Dataset.Bytes(dcm.T(0x00091003))) != 4 {
		t.Errorf("OF %v, OD %v", of, od)
	}
}

func sizeCases() []hostileCase {
	return []hostileCase{
		{name: "bytes-of-2-gib", file: plain(reportStart + long(0x00420011, "OB", 1<<31, "abcd")), state: dcm.Refused, says: "2147483648 bytes declared"},
		{name: "bytes-of-4-gib", file: plain(reportStart + long(0x00420011, "OB", undefined-1, "abcd")), state: dcm.Refused, says: "bytes declared"},
		{name: "text-of-2-gib", file: plain(reportStart + long(0x0040A160, "UT", 1<<31, "abcd")), state: dcm.Refused, says: "bytes declared"},
		{name: "text-of-2-gib-in-small-item", state: dcm.Refused, says: "left in the parent",
			file: plain(reportStart + sized(0x0040A730, "SQ", item(100, long(0x0040A160, "UT", 1<<31, strings.Repeat("x", 88)))))},
		{name: "4294967296-frames", state: dcm.Partial, says: "inside the pixel data",
			file: plain(imageStart + short(0x00280008, "IS", "4294967296") + short(0x00280010, "US", "\x00\x02") +
				short(0x00280011, "US", "\x00\x02") + long(0x7FE00010, "OW", 1<<31, "\x00\x00"))},
		{name: "empty-rows-and-pixels", state: dcm.Read,
			file: plain(imageStart + short(0x00280010, "US", "") + short(0x00280100, "US", "") + sized(0x7FE00010, "OW", "\x00\x00"))},
	}
}

// largeCases holds the files that are made for one test only.
func largeCases() []hostileCase {
	return []hostileCase{
		{name: "5000-nested-sequences", file: plain(nested(5000)), state: dcm.Refused, says: "deeper than 64"},
		{name: "1200000-nested-sequences", file: plain(nested(1_200_000)), state: dcm.Refused, says: "deeper than 64"},
		{name: "deflate-bomb", file: deflated(reportStart + sized(0x0040A160, "UT", strings.Repeat(" ", 17<<20))),
			state: dcm.Refused, says: "expands to more than"},
		{name: "8-million-values", state: dcm.Refused, says: "elements, items and values",
			file: plain(imageStart + sized(0x00090010, "UC", strings.Repeat(`\`, 8<<20)))},
		{name: "8-million-numbers", state: dcm.Refused, says: "elements, items and values",
			file: part10(dcm.ImplicitVRLittleEndian, implicit(0x00280010, strings.Repeat("x", 16<<20)))},
		{name: "16-mib-of-katakana", state: dcm.Read,
			file: plain(short(0x00080005, "CS", "ISO_IR 13 ") + classOnly + sized(0x0040A160, "UT", strings.Repeat("\xb1", 16<<20)) + content)},
		{name: "16-mib-of-gb18030", state: dcm.Read,
			file: plain(short(0x00080005, "CS", "GB18030 ") + classOnly + sized(0x0040A160, "UT", strings.Repeat("\xcd\xf5", 8<<20)) + content)},
		{name: "2-million-empty-elements", state: dcm.Refused, says: "elements, items and values",
			file: plain(imageStart + strings.Repeat(short(0x00090010, "LO", ""), 2<<20))},
		{name: "2-million-empty-items", state: dcm.Refused, says: "elements, items and values",
			file: plain(reportStart + sized(0x0040A730, "SQ", strings.Repeat(item(0, ""), 2<<20)))},
	}
}

// allocatedBy returns all that read allocates, an upper bound of what it holds
// at one time.
func allocatedBy(read func()) uint64 {
	total := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(total)
	before := total[0].Value.Uint64()
	read()
	metrics.Read(total)
	return total[0].Value.Uint64() - before
}

// leastAllocatedBy is allocatedBy without what the runtime counts in between: the
// least of three times.
func leastAllocatedBy(read func()) uint64 {
	return min(allocatedBy(read), allocatedBy(read), allocatedBy(read))
}

func TestHostileFiles(t *testing.T) {
	for _, c := range hostileCases() {
		t.Run(c.name, func(t *testing.T) { c.run(t, 1<<20) })
	}
}

func TestLargeHostileFiles(t *testing.T) {
	for _, c := range largeCases() {
		t.Run(c.name, func(t *testing.T) { c.run(t, 192<<20) })
	}
}

// run reads the file in at most limit bytes of memory, all allocations added up.
func (c hostileCase) run(t *testing.T, limit uint64) {
	var f *dcm.File
	var err error
	b := []byte(c.file)
	if allocated := allocatedBy(func() { f, err = dcm.ReadBytes(b) }); allocated > limit {
		t.Errorf("%d bytes allocated for a file of %d", allocated, len(b))
	}
	state, said := outcome(t, f, err)
	if state != c.state || !strings.Contains(said, c.says) || (c.says == "") != (said == "") {
		t.Errorf("%s, saying %q; want %s, saying %q", state, said, c.state, c.says)
	}
	if c.check != nil && f != nil {
		c.check(t, f)
	}
}

// outcome checks that a result is consistent and gathers what it says.
func outcome(t testing.TB, f *dcm.File, err error) (dcm.State, string) {
	t.Helper()
	var said []string
	if err != nil {
		var refusal *dcm.Refusal
		if !errors.As(err, &refusal) || refusal.Reason == "" || f != nil || refusal.Offset < 0 {
			t.Errorf("refusal %#v with file %v", err, f != nil)
		}
		return dcm.Refused, err.Error()
	}
	if (f.State == dcm.Partial) != (len(f.Losses) > 0) || f.State == dcm.Refused || f.State == "" {
		t.Errorf("state %q with %d losses", f.State, len(f.Losses))
	}
	for _, l := range f.Losses {
		if l.Reason == "" {
			t.Error("loss without a reason")
		}
		said = append(said, l.TagPath+" "+l.Reason)
	}
	for _, d := range f.Deviations {
		said = append(said, d.TagPath+" "+d.Detail)
	}
	return f.State, strings.Join(said, "; ")
}

// The small hostile files lie below testdata too, for the tests of commands.
func TestHostileFilesOnDisk(t *testing.T) {
	folder := filepath.Join("..", "..", "testdata", "hostile")
	for _, c := range hostileCases() {
		onDisk(t, filepath.Join(folder, c.name+".dcm"), []byte(c.file))
	}
}

// onDisk compares a generated file with its copy below testdata.
func onDisk(t *testing.T, path string, want []byte) {
	t.Helper()
	if *update {
		writeFile(t, path, want)
	}
	got, err := os.ReadFile(path)
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("%s differs from what this test makes (%v); rewrite it: go test ./internal/dcm -update", path, err)
	}
}

func writeFile(t *testing.T, path string, content []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, content, 0o644); err != nil {
		t.Fatal(err)
	}
}

// Every syntax and form that tests of other packages may want, of one report.
func TestWellFormedFilesOnDisk(t *testing.T) {
	for name, how := range forms() {
		onDisk(t, filepath.Join("..", "..", "testdata", "dicom", name+".dcm"), dcmtest.Encode(smallReport(), how))
	}
}

func forms() map[string]dcmtest.Encoding {
	return map[string]dcmtest.Encoding{
		"explicit-undefined": {CharacterSet: "ISO_IR 192"},
		"explicit-defined":   {CharacterSet: "ISO_IR 192", DefinedLengths: true},
		"implicit-undefined": {CharacterSet: "ISO_IR 192", TransferSyntax: dcm.ImplicitVRLittleEndian},
		"implicit-defined":   {CharacterSet: "ISO_IR 192", TransferSyntax: dcm.ImplicitVRLittleEndian, DefinedLengths: true},
		"big-undefined":      {CharacterSet: "ISO_IR 192", TransferSyntax: dcm.ExplicitVRBigEndian},
		"big-defined":        {CharacterSet: "ISO_IR 192", TransferSyntax: dcm.ExplicitVRBigEndian, DefinedLengths: true},
		"deflated":           {CharacterSet: "ISO_IR 192", TransferSyntax: dcm.DeflatedExplicitVRLittleEndian},
		"explicit-no-meta":   {CharacterSet: "ISO_IR 192", NoMeta: true},
		"implicit-no-meta":   {CharacterSet: "ISO_IR 192", NoMeta: true, TransferSyntax: dcm.ImplicitVRLittleEndian},
		"big-no-meta":        {CharacterSet: "ISO_IR 192", NoMeta: true, TransferSyntax: dcm.ExplicitVRBigEndian, DefinedLengths: true},
		"no-preamble":        {CharacterSet: "ISO_IR 192", NoPreamble: true},
	}
}
