package dcm_test

import (
	"slices"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
)

var (
	patientName = dcm.T(0x00100010)
	otherIDs    = dcm.T(0x00101000) // LO, several values
	textValue   = dcm.T(0x0040A160) // UT
)

// readWith writes the element's bytes under a character set and reads them back.
func readWith(t *testing.T, charset string, e dcm.Element) *dcm.File {
	t.Helper()
	d := dcm.New(dcm.Strings(dcm.T(0x00080018), "2.25.1"), e)
	f, err := dcm.ReadBytes(dcmtest.Encode(d, dcmtest.Encoding{CharacterSet: charset}))
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// The byte of the backslash is part of characters in multi-byte sets.
func TestSplitAfterDecoding(t *testing.T) {
	tests := []struct {
		name, charset, bytes string
		want                 []string
	}{
		{"GBK", "GBK", "\x81\x5c\\A", []string{"乗", "A"}},
		{"GB18030", "GB18030", "\x81\x5c\\A", []string{"乗", "A"}},
		{"Shift-JIS under ISO_IR 13", "ISO_IR 13", "\x83\x5c\\A", []string{"ソ", "A"}},
		{"kanji with 5C as second byte", `\ISO 2022 IR 87`, "\x1b$B;\\\x1b(B\\B", []string{"施", "B"}},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			f := readWith(t, test.charset, dcm.Strings(otherIDs, test.bytes))
			if got := f.Dataset.Texts(otherIDs); !slices.Equal(got, test.want) {
				t.Errorf("got %q, want %q", got, test.want)
			}
		})
	}
}

// A character set given in an item holds for the item and what is nested in it.
func TestCharacterSetOfItem(t *testing.T) {
	name := func(value string) dcm.Element { return dcm.Strings(textValue, value) }
	inner := dcm.New(name("\xc4"))
	item := dcm.New(dcm.Strings(dcm.T(0x00080005), "ISO_IR 126"), name("\xc4"), dcm.Sequence(dcm.T(0x0040A730), inner))
	d := dcm.New(dcm.Sequence(dcm.T(0x0040A730), item, dcm.New(name("\xc4"))))
	f, err := dcm.ReadBytes(dcmtest.Encode(d, dcmtest.Encoding{CharacterSet: "ISO_IR 100"}))
	if err != nil {
		t.Fatal(err)
	}
	items := f.Dataset.Sequence(dcm.T(0x0040A730))
	nested := items[0].Sequence(dcm.T(0x0040A730))[0]
	got := items[0].Text(textValue) + nested.Text(textValue) + items[1].Text(textValue)
	if got != "ΔΔÄ" {
		t.Errorf("got %q, want %q", got, "ΔΔÄ")
	}
}
