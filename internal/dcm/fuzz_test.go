package dcm_test

import (
	"bytes"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/mutate"
)

func fuzzSeeds() [][]byte {
	var seeds [][]byte
	for _, c := range hostileCases() {
		seeds = append(seeds, []byte(c.file))
	}
	for _, c := range silenceCases() {
		seeds = append(seeds, []byte(c.file))
	}
	for _, how := range forms() {
		seeds = append(seeds, dcmtest.Encode(smallReport(), how))
	}
	return seeds
}

// checkReadBytes: what is read keeps what is promised of states, losses and texts.
func checkReadBytes(t *testing.T, b []byte) string {
	file, err := dcm.ReadBytes(b)
	_, said := outcome(t, file, err)
	if file != nil {
		checkText(t, file.Dataset)
		checkText(t, file.Meta)
		file.Release()
	}
	return said
}

// checkReadHeader also holds header reading against whole reading.
func checkReadHeader(t *testing.T, b []byte) string {
	header, err := dcm.ReadHeader(bytes.NewReader(b), int64(len(b)))
	state, said := outcome(t, header, err)
	whole, err := dcm.ReadBytes(b)
	if wholeState, _ := outcome(t, whole, err); len(b) < 16<<10 && wholeState != state {
		t.Errorf("header %s, whole %s", state, wholeState)
	}
	if header != nil {
		checkText(t, header.Dataset)
	}
	if whole != nil {
		whole.Release()
	}
	dcm.Identify(bytes.NewReader(b), int64(len(b)))
	return said
}

func FuzzReadBytes(f *testing.F) {
	for _, seed := range fuzzSeeds() {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkReadBytes(t, b) })
}

func FuzzReadHeader(f *testing.F) {
	for _, seed := range fuzzSeeds() {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkReadHeader(t, b) })
}

var tokens = []string{
	"SQ\x00\x00\xff\xff\xff\xff", "UN\x00\x00\xff\xff\xff\xff", "OB\x00\x00", "UT\x00\x00", "FD\x08\x00", "DS", "US\x02\x00", "CS", "LO", "PN", "UI",
	"\xfe\xff\x00\xe0\xff\xff\xff\xff", "\xfe\xff\x00\xe0", "\xfe\xff\x0d\xe0\x00\x00\x00\x00", "\xfe\xff\xdd\xe0\x00\x00\x00\x00",
	"\x40\x00\x30\xa7", "\x40\x00\x0a\xa3", "\x40\x00\x00\xa3", "\x40\x00\x40\xa0", "\x40\x00\x43\xa0", "\xe0\x7f\x10\x00", "\x08\x00\x05\x00", "\x08\x00\x16\x00",
	"ISO 2022 IR 87", "ISO_IR 192", "\x1b$B", "\x1b(B", "NUM ", "CONTAINER ", "1.2.840.10008.1.2", "1.2.840.10008.1.2.1.99", "1.2.840.10008.5.1.4.1.1.88.33",
}

func TestMutationsOfFiles(t *testing.T) {
	mutate.Run(t, mutate.Source{Seeds: fuzzSeeds(), Tokens: tokens, Target: "FuzzReadBytes"}, checkReadBytes)
}

func TestMutationsOfHeaders(t *testing.T) {
	mutate.Run(t, mutate.Source{Seeds: fuzzSeeds(), Tokens: tokens, Target: "FuzzReadHeader"}, checkReadHeader)
}
