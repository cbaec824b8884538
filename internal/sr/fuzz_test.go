package sr_test

import (
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

// FuzzParse puts any bytes through dcm and sr. What comes out must be a tree
// whose positions are true and whose references lead to what they name, without
// loops.
func FuzzParse(f *testing.F) {
	for _, text := range []string{small, "container DCM:1\n  contains num LN:1 = 1 cm\n    inferred ref 1.1"} {
		d := srtest.Report(f, text)
		f.Add(srtest.Encode(d, srtest.Encoding{}))
		f.Add(srtest.Encode(d, srtest.Encoding{TransferSyntax: dcm.ImplicitVRLittleEndian, DefinedLengths: true, NoMeta: true}))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		file, err := dcm.ReadBytes(b)
		if err != nil {
			return
		}
		doc, err := sr.Parse(file)
		if err != nil {
			return
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
	})
}
