package extract_test

import (
	"reflect"
	"slices"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

// TestCataloguesTakeTurns reads one report with and without catalogues in turns: what
// was looked up in one must not be told by the other.
func TestCataloguesTakeTurns(t *testing.T) {
	const tree = `container DCM:125200
  contains text DCM:121106 = "Severe mitral regurgitation."
  contains code DCM:121071 = SCT:48724000 "Mitral regurgitation"
  contains num LN:11726-7 = 2.8 m/s
    mod code SRT:G-C0E3 = SRT:T-35100 "TV"
`
	all := catalogues(t)
	f, err := dcm.ReadBytes(dcmtest.Encode(srtest.Report(t, tree), dcmtest.Encoding{}))
	if err != nil {
		t.Fatal(err)
	}
	doc, err := sr.Parse(f)
	if err != nil {
		t.Fatal(err)
	}
	read := func(c extract.Catalogues) any {
		s := extract.Study([]*sr.Document{doc}, c)
		return []any{s.Measurements, s.Statements, s.Segments}
	}
	bare := read(extract.Catalogues{})
	full := read(all)
	if s := extract.Study([]*sr.Document{doc}, all); !slices.ContainsFunc(s.Statements, func(s echo.Statement) bool { return s.FromCode }) {
		t.Fatalf("the catalogues tell nothing of the code in the report: %+v", s.Statements)
	}
	for range 3 {
		if !reflect.DeepEqual(read(all), full) || !reflect.DeepEqual(read(extract.Catalogues{}), bare) {
			t.Fatal("a report is read otherwise after it was read with other catalogues")
		}
	}
}
