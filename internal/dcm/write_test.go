package dcm_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"io"
	"strings"
	"testing"

	"echotally/internal/dcm"
)

func code(value, scheme, meaning string) dcm.Dataset {
	return dcm.New(
		dcm.Strings(dcm.T(0x00080100), value),
		dcm.Strings(dcm.T(0x00080102), scheme),
		dcm.Strings(dcm.T(0x00080104), meaning),
	)
}

// smallReport is a report with one section that holds two measurements and a
// text item behind it.
func smallReport() dcm.Dataset {
	number := func(name, value string) dcm.Dataset {
		return dcm.New(
			dcm.Strings(dcm.T(0x0040A010), "CONTAINS"),
			dcm.Strings(dcm.T(0x0040A040), "NUM"),
			dcm.Sequence(dcm.T(0x0040A043), code(name, "LN", "Velocity")),
			dcm.Sequence(dcm.T(0x0040A300), dcm.New(
				dcm.Strings(dcm.T(0x0040A30A), value),
				dcm.Sequence(dcm.T(0x004008EA), code("m/s", "UCUM", "meter per second")),
			)),
		)
	}
	section := dcm.New(
		dcm.Strings(dcm.T(0x0040A010), "CONTAINS"),
		dcm.Strings(dcm.T(0x0040A040), "CONTAINER"),
		dcm.Sequence(dcm.T(0x0040A043), code("121070", "DCM", "Findings")),
		dcm.Strings(dcm.T(0x0040A050), "SEPARATE"),
		dcm.Sequence(dcm.T(0x0040A730), number("11726-7", "2.81"), number("11726-8", "3")),
	)
	text := dcm.New(
		dcm.Strings(dcm.T(0x0040A010), "CONTAINS"),
		dcm.Strings(dcm.T(0x0040A040), "TEXT"),
		dcm.Sequence(dcm.T(0x0040A043), code("121071", "DCM", "Finding")),
		dcm.Strings(dcm.T(0x0040A160), `Jet \ sampled at the tips`),
	)
	return dcm.New(
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.88.33"),
		dcm.Strings(dcm.T(0x00080018), "2.25.1"),
		dcm.Strings(dcm.T(0x0020000D), "2.25.2"),
		dcm.Strings(dcm.T(0x0020000E), "2.25.3"),
		dcm.Strings(dcm.T(0x00080060), "SR"),
		dcm.Strings(dcm.T(0x00100010), "Prüfung^Zwölf"),
		dcm.Strings(dcm.T(0x00100020)),
		dcm.Ints(dcm.T(0x00200013), 1),
		dcm.Strings(dcm.T(0x0040A040), "CONTAINER"),
		dcm.Sequence(dcm.T(0x0040A043), code("125200", "DCM", "Adult Echocardiography Procedure Report")),
		dcm.Strings(dcm.T(0x0040A050), "SEPARATE"),
		dcm.Strings(dcm.T(0x0040A491), "COMPLETE"),
		dcm.Strings(dcm.T(0x0040A493), "UNVERIFIED"),
		dcm.Sequence(dcm.T(0x0040A730), section, text),
	)
}

func encode(t testing.TB, d dcm.Dataset) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := dcm.Write(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestWriteReadsBack(t *testing.T) {
	first := encode(t, smallReport())
	f, err := dcm.ReadBytes(first)
	if err != nil {
		t.Fatal(err)
	}
	if f.State != dcm.Read || len(f.Deviations) != 0 || len(f.Losses) != 0 {
		t.Errorf("state %s, deviations %v, losses %v", f.State, f.Deviations, f.Losses)
	}
	if got := f.Dataset.Text(dcm.T(0x00100010)); got != "Prüfung^Zwölf" {
		t.Errorf("name %q", got)
	}
	items := f.Dataset.Sequence(dcm.T(0x0040A730))
	if len(items) != 2 || len(items[0].Sequence(dcm.T(0x0040A730))) != 2 {
		t.Fatalf("content items lost: %d", len(items))
	}
	if got := items[1].Text(dcm.T(0x0040A160)); got != `Jet \ sampled at the tips` {
		t.Errorf("text %q", got)
	}
	if second := encode(t, f.Dataset); !bytes.Equal(first, second) {
		t.Error("a second writing differs from the first")
	}
}

func TestWriteRefuses(t *testing.T) {
	tests := []struct {
		name    string
		element dcm.Element
		want    string
	}{
		{"text longer than a 16-bit length", dcm.Private(dcm.T(0x00090010), "LT", []string{strings.Repeat("x", 70000)}), "10240"},
		{"many short values", dcm.Strings(dcm.T(0x00101000), strings.Split(strings.Repeat("0123456789,", 7000), ",")...), "65534"},
		{"numbers beyond a 16-bit length", dcm.Floats(dcm.T(0x0018602C), make([]float64, 9000)...), "65534"},
		{"decimal string of 17 characters", dcm.Strings(dcm.T(0x0040A30A), "1234567890.123456"), "16"},
		{"backslash in a short string", dcm.Strings(dcm.T(0x00080100), `a\b`), "backslash"},
		{"text that is not UTF-8", dcm.Strings(dcm.T(0x00100010), "\xff"), "UTF-8"},
		{"text for a number", dcm.Strings(dcm.T(0x00280010), "512"), "US"},
		{"number for a text", dcm.Ints(dcm.T(0x00100010), 5), "PN"},
		{"tag that the dictionary does not know", dcm.Strings(dcm.T(0x00090110), "x"), "UN"},
		{"the same tag twice", dcm.Strings(dcm.T(0x00080060), "SR"), "twice"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			d := smallReport()
			d.Add(test.element)
			var b bytes.Buffer
			err := dcm.Write(&b, d)
			if err == nil || !strings.Contains(err.Error(), test.want) {
				t.Errorf("error %v, want one naming %q", err, test.want)
			}
			if b.Len() != 0 {
				t.Error("bytes were written before the refusal")
			}
		})
	}
}

// TestADataSetAloneIsThatOfTheFile: what goes over the network is what a file holds
// behind its meta information.
func TestADataSetAloneIsThatOfTheFile(t *testing.T) {
	d := dcm.New(
		dcm.Strings(dcm.T(0x00080016), "1.2.840.10008.5.1.4.1.1.88.33"), dcm.Strings(dcm.T(0x00080018), "2.25.1"), dcm.Strings(dcm.T(0x00100010), "Ä^B"),
		dcm.Sequence(dcm.T(0x0040A730), dcm.New(dcm.Strings(dcm.T(0x0040A040), "TEXT"), dcm.Strings(dcm.T(0x0040A160), "a text"))),
	)
	for transfer, whole := range map[string]func(io.Writer, dcm.Dataset) error{dcm.ExplicitVRLittleEndian: dcm.Write, dcm.ImplicitVRLittleEndian: dcm.WriteImplicit} {
		var file, alone bytes.Buffer
		if err := errors.Join(whole(&file, d), dcm.WriteDataset(&alone, d, transfer)); err != nil {
			t.Fatal(err)
		}
		group := int(binary.LittleEndian.Uint32(file.Bytes()[140:]))
		if got, want := alone.Bytes(), file.Bytes()[144+group:]; !bytes.Equal(got, want) {
			t.Errorf("%s: %d bytes alone, %d in the file", transfer, len(got), len(want))
		}
	}
	if err := dcm.WriteDataset(io.Discard, d, dcm.DeflatedExplicitVRLittleEndian); err == nil {
		t.Error("a transfer syntax nobody writes was written")
	}
}
