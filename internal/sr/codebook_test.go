package sr_test

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

// encoded writes a report down in one of four ways and reads it.
func encoded(t *testing.T, tree string, way int) *sr.Document {
	how := dcmtest.Encoding{DefinedLengths: way%2 == 1}
	how.TransferSyntax = []string{dcm.ExplicitVRLittleEndian, dcm.ImplicitVRLittleEndian, dcm.ExplicitVRBigEndian, dcm.DeflatedExplicitVRLittleEndian}[way%4]
	f, err := dcm.ReadBytes(dcmtest.Encode(srtest.Report(t, tree), how))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Release()
	doc, err := sr.Parse(f)
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

// TestCodesOfManyDocuments reads documents after and beside each other that have more
// codes between them than are kept, some of them the same: each item must have the code
// that its own document writes, under a number that no other code of it has.
func TestCodesOfManyDocuments(t *testing.T) {
	const documents, codes = 40, 60
	value := func(document, i int) string {
		if i%3 == 0 {
			return fmt.Sprintf("%d", 9000+i) // in all of them
		}
		return fmt.Sprintf("%d", 10000+document*codes+i)
	}
	read := func(document int) error {
		tree := strings.Builder{}
		tree.WriteString("container DCM:125200\n")
		for i := range codes {
			fmt.Fprintf(&tree, "  contains num LN:%s \"meaning %d\" = 1 cm\n", value(document, i), i)
		}
		doc := encoded(t, tree.String(), document)
		at := map[uint32]string{}
		for i := range doc.ContentItem.ContentItems {
			item := &doc.ContentItem.ContentItems[i]
			want, meaning := value(document, i), fmt.Sprintf("meaning %d", i)
			if item.ConceptName.CodeValue != want || item.ConceptName.CodeMeaning != meaning || item.Name.CodeValue != want {
				return fmt.Errorf("document %d, item %d: %v with key %v, want %s, %s", document, i, item.ConceptName, item.Name, want, meaning)
			}
			if other, seen := at[item.NameNumber]; seen {
				return fmt.Errorf("document %d: %s and %s have one number", document, other, want)
			}
			at[item.NameNumber] = want
			if code := doc.Codes[item.NameNumber-1]; code.Concept != *item.ConceptName || code.Key != item.Name {
				return fmt.Errorf("document %d, item %d: the document lists %v under its number", document, i, code.Concept)
			}
		}
		return nil
	}
	var group sync.WaitGroup
	for worker := range 4 {
		group.Go(func() {
			for round := range 3 {
				for d := range documents {
					if err := read((d + worker + round) % documents); err != nil {
						t.Error(err)
						return
					}
				}
			}
		})
	}
	group.Wait()
}

// TestCodesOfOneValueInSeveralWays reads codes whose bytes have parts in common: what was
// kept of one must not be given for another.
func TestCodesOfOneValueInSeveralWays(t *testing.T) {
	for i := range 4 {
		for _, written := range []string{`LN:1-8 "A"`, `LN:1-8 "B"`, `DCM:1-8 "A"`, `SRT:G-0390 "A"`, `LN:1-8 "A"`} {
			doc := encoded(t, "container DCM:125200\n  contains num "+written+" = 1 cm\n", i)
			item := doc.ContentItem.ContentItems[0]
			scheme, rest, _ := strings.Cut(written, ":")
			code, meaning, _ := strings.Cut(rest, " ")
			if c := item.ConceptName; c.CodingSchemeDesignator != scheme || c.CodeValue != code || `"`+c.CodeMeaning+`"` != meaning {
				t.Errorf("%s is read as %v", written, c)
			}
		}
	}
}
