package sr_test

import (
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/mutate"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

func fuzzSeeds(t testing.TB) [][]byte {
	var seeds [][]byte
	for _, text := range []string{small, "container DCM:1\n  contains num LN:1 = 1 cm\n    inferred ref 1.1"} {
		d := srtest.Report(t, text)
		seeds = append(seeds, dcmtest.Encode(d, dcmtest.Encoding{}),
			dcmtest.Encode(d, dcmtest.Encoding{TransferSyntax: dcm.ImplicitVRLittleEndian, DefinedLengths: true, NoMeta: true}))
	}
	return seeds
}

// checkParse puts any bytes through dcm and sr. What comes out must be a tree
// whose positions are true and whose references lead to what they name, without
// loops.
func checkParse(t *testing.T, b []byte) string {
	file, err := dcm.ReadBytes(b)
	if err != nil {
		return "unreadable"
	}
	defer file.Release()
	doc, err := sr.Parse(file)
	if err != nil {
		return err.Error()
	}
	sr.Walk(&doc.ContentItem, func(item *sr.ContentItem, ancestors []*sr.ContentItem) bool {
		if len(item.Identifier) != len(ancestors)+1 || doc.Find(item.Identifier) != item {
			t.Fatalf("item %s does not stand where it says", item.Identifier)
		}
		if item.Referenced != nil && item.Referenced.Identifier.String() != item.Reference.String() {
			t.Fatalf("item %s leads to %s, not %s", item.Identifier, item.Referenced.Identifier, item.Reference)
		}
		for _, a := range ancestors {
			if item.Referenced == a {
				t.Fatalf("item %s refers to its ancestor", item.Identifier)
			}
		}
		if item.ValueType == sr.NumValue && item.MeasuredValue == nil {
			t.Fatalf("NUM item %s without measured value", item.Identifier)
		}
		sr.Images(item)
		doc.ContextOf(item, ancestors)
		return true
	})
	var said strings.Builder
	for _, d := range doc.Deviations {
		said.WriteString(d.Detail)
	}
	return said.String()
}

func FuzzParse(f *testing.F) {
	for _, seed := range fuzzSeeds(f) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, b []byte) { checkParse(t, b) })
}

func TestMutationsOfReports(t *testing.T) {
	tokens := []string{
		"NUM ", "CONTAINER ", "TEXT", "CODE", "IMAGE ", "SCOORD", "COMPOSITE ", "UIDREF", "INFERRED FROM ", "SELECTED FROM ", "HAS OBS CONTEXT ", "HAS CONCEPT MOD", "CONTAINS",
		"\x40\x00\x73\xdbUL\x08\x00\x01\x00\x00\x00\x01\x00\x00\x00", "\x40\x00\x30\xa7SQ\x00\x00\xff\xff\xff\xff", "\x40\x00\x43\xa0SQ\x00\x00\xff\xff\xff\xff",
		"\xfe\xff\x00\xe0\xff\xff\xff\xff", "\xfe\xff\x0d\xe0\x00\x00\x00\x00", "\xfe\xff\xdd\xe0\x00\x00\x00\x00",
	}
	mutate.Run(t, mutate.Source{Seeds: fuzzSeeds(t), Tokens: tokens, Target: "FuzzParse"}, checkParse)
}
