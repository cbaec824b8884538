package dcm_test

import (
	"encoding/binary"
	"math"
	"strings"
	"testing"

	"echotally/internal/dcm"
)

// silenceCases are files of which something was lost without a word.
func silenceCases() []hostileCase {
	number := func(vr, value string) string {
		measured := sized(0x0040A300, "SQ", item(uint32(len(value))+8, short(0x0040A30A, vr, value)))
		num := short(0x0040A040, "CS", "NUM ") + measured
		return plain(reportStart + sized(0x0040A730, "SQ", item(uint32(len(num)), num)))
	}
	eight := func(bits uint64) string { return string(binary.LittleEndian.AppendUint64(nil, bits)) }
	return []hostileCase{
		{name: "content-sequence-again-further-on", state: dcm.Partial, says: "more than once",
			file: plain(reportStart + content + short(0x0040A043, "LO", "") + content)},
		{name: "content-sequence-three-times", state: dcm.Partial, says: "more than once",
			file: plain(reportStart + content + content + short(0x0040A040, "CS", "CONTAINER ") + content)},
		{name: "text-twice-in-an-item", state: dcm.Partial, says: "(0040,A730)[1]/(0040,A160) the element stands here more than once",
			file: plain(reportStart + sized(0x0040A730, "SQ", item(uint32(len(textItem))+14, textItem+sized(0x0040A160, "UT", "ab"))))},
		{name: "explicit-content-in-un", state: dcm.Read, says: "a sequence sent as UN; read as explicit little endian", check: oneItem,
			file: plain(reportStart + sized(0x0040A730, "UN", item(uint32(len(textItem)), textItem)))},
		{name: "content-sequence-as-ob", state: dcm.Read, says: "a sequence sent as OB", check: oneItem,
			file: plain(reportStart + sized(0x0040A730, "OB", item(uint32(len(textItem)), textItem)))},
		{name: "content-sequence-as-ut", state: dcm.Read, says: "a sequence sent as UT", check: oneItem,
			file: plain(reportStart + sized(0x0040A730, "UT", item(uint32(len(textItem)), textItem)))},
		{name: "rubbish-in-un-content", state: dcm.Partial, says: "does not read as one",
			file: plain(reportStart + sized(0x0040A730, "UN", strings.Repeat("rubbish ", 4)))},
		{name: "double-as-numeric-value", state: dcm.Read, says: "a text of VR DS sent as FD", check: numeric("0.1"), file: number("FD", eight(math.Float64bits(0.1)))},
		{name: "integer-as-numeric-value", state: dcm.Read, says: "sent as SL", check: numeric("-3"), file: number("SL", u32(0xFFFFFFFD))},
		{name: "text-under-a-number", state: dcm.Read, says: "sent as FL", check: numeric("12.5"), file: number("FL", "12.5")},
		{name: "numeric-value-as-half-a-double", state: dcm.Partial, says: "a text sent as FD that does not read as one", file: number("FD", "\x01\x02\x03\x04")},
		{name: "control-characters", state: dcm.Read, says: "control characters that may not stand here", check: noControls,
			file: plain(short(0x00080005, "CS", "ISO_IR 192") + reportStart + sized(0x0040A730, "SQ", item(uint32(len(textItem)), textItem)) +
				short(0x0040A491, "CS", "A\nobject\trecorded\x1b[2J\x07\x00x") + sized(0x0040A160, "UT", "a\r\n\tb\u0085\u2028\u202E"))},
	}
}

func oneItem(t *testing.T, f *dcm.File) {
	if items := f.Dataset.Sequence(dcm.T(0x0040A730)); len(items) != 1 || items[0].Text(dcm.T(0x0040A160)) != "no" {
		t.Errorf("content items read: %v", items)
	}
}

func numeric(want string) func(*testing.T, *dcm.File) {
	return func(t *testing.T, f *dcm.File) {
		items := f.Dataset.Sequence(dcm.T(0x0040A730))
		if measured := items[0].Sequence(dcm.T(0x0040A300)); len(measured) != 1 || measured[0].Text(dcm.T(0x0040A30A)) != want {
			t.Errorf("Numeric Value %q, want %q", measured[0].Text(dcm.T(0x0040A30A)), want)
		}
	}
}

func noControls(t *testing.T, f *dcm.File) {
	if got, want := f.Dataset.Text(dcm.T(0x0040A491)), "A\uFFFDobject\uFFFDrecorded\uFFFD[2J\uFFFD\uFFFDx"; got != want {
		t.Errorf("one line: %q, want %q", got, want)
	}
	if got, want := f.Dataset.Text(dcm.T(0x0040A160)), "a\r\n\tb\uFFFD\uFFFD\uFFFD"; got != want {
		t.Errorf("lines: %q, want %q", got, want)
	}
}

func TestNothingIsLostInSilence(t *testing.T) {
	for _, c := range silenceCases() {
		t.Run(c.name, func(t *testing.T) { c.run(t, 1<<20) })
	}
}
