package extract_test

import (
	"runtime/debug"
	"testing"

	"echotally/internal/bench"
	"echotally/internal/dcm"
	"echotally/internal/extract"
	"echotally/internal/sr"
)

// BenchmarkRead is all that reading a report takes once the rules are loaded: the
// file into elements, a content tree, named measurements and statements.
func BenchmarkRead(b *testing.B) {
	c := catalogues(b)
	defer debug.SetGCPercent(debug.SetGCPercent(400)) // as the command read does
	bench.Read(b, func(file []byte) {
		f, err := dcm.ReadBytes(file)
		if err != nil {
			b.Fatal(err)
		}
		doc, err := sr.Parse(f)
		f.Release()
		if err != nil {
			b.Fatal(err)
		}
		if s := extract.Study([]*sr.Document{doc}, c); len(s.Measurements) == 0 {
			b.Fatal("no measurement")
		}
	})
}
