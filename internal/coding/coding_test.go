package coding

import (
	"maps"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Every pair of the embedded table: each legacy spelling of the scheme leads to
// the SCT number, and the two forms are one concept.
func TestLegacyPairs(t *testing.T) {
	rows := readTable(legacyTable)
	if len(rows) < 570 {
		t.Fatalf("only %d pairs", len(rows))
	}
	for _, row := range rows {
		for _, scheme := range []string{"SRT", "SNM3", "99SDM", "SNM", "srt", "SRT ", "SRT\x00"} {
			old := CodedConcept{CodeValue: row[0], CodingSchemeDesignator: scheme, CodingSchemeVersion: "2004", CodeMeaning: "as written"}
			got := old.Standard()
			want := CodedConcept{CodeValue: row[1], CodingSchemeDesignator: "SCT", CodeMeaning: "as written"}
			if got != want {
				t.Errorf("%v: got %v, want %v", old, got, want)
			}
			if old.Key() != got.Key() {
				t.Errorf("%v: key %v differs from that of its SCT form %v", old, old.Key(), got.Key())
			}
		}
		if k := (Key{CodeValue: row[1], CodingSchemeDesignator: "SCT"}); !k.CheckDigit() {
			t.Errorf("%s: %s has a wrong SNOMED CT check digit", row[0], k)
		}
	}
}

func TestKey(t *testing.T) {
	cases := []struct {
		name, scheme, value, want string
	}{
		{"SNOMED CT as is", "SCT", "87878005", "SCT:87878005"},
		{"other name of the scheme", "SNOMED-CT", "87878005", "SCT:87878005"},
		{"legacy id under the plain name", "SNOMED", "T-32600", "SCT:87878005"},
		{"SCT number under a legacy designator", "SRT", "87878005", "SCT:87878005"},
		{"legacy id under the new designator", "SCT", "T-32600", "SCT:87878005"},
		{"lower case id", "SRT", "t-32600", "SCT:87878005"},
		{"padded", " SRT ", "T-32600\x00", "SCT:87878005"},
		{"misprint of G-C036, measurement method", "SRT", "G-C306", "SCT:370129005"},
		{"measurement method", "SRT", "G-C036", "SCT:370129005"},
		{"unknown legacy id stays", "SRT", "X-00000", "SRT:X-00000"},
		{"LOINC spelled out", "LOINC", "79921-3", "LN:79921-3"},
		{"private scheme keeps its case", "99Maker", "tr1", "99Maker:tr1"},
		{"private scheme is not the upper-case one", "99MAKER", "tr1", "99MAKER:tr1"},
		{"findings heading of 2009", "DCM", "121070", "LN:59776-5"},
		{"procedure descriptions heading of 2009", "DCM", "121064", "LN:55111-9"},
		{"end systole of 2009", "DCM", "109070", "SCT:416430001"},
		{"end diastole of 2009", "SRT", "F-32011", "SCT:416190007"},
		{"end diastole of 2022", "SCT", "255254001", "SCT:416190007"},
		{"mitral annulus of 2009", "SRT", "T-35313", "SCT:65197004"},
		{"tricuspid annulus of 2009", "SCT", "279170002", "SCT:113259005"},
		{"power Doppler, retired", "DCM", "125230", "SCT:425704008"},
		{"3D mode, retired", "DCM", "125231", "SCT:426865009"},
		{"normality undetermined of 2009", "SRT", "G-A385", "SCT:371934000"},
		{"lower normal limit of 2009", "SRT", "R-10041", "SCT:385524004"},
		{"physician role of 2009", "DCM", "121081", "SCT:309343006"},
		{"peak velocity is not peak blood velocity", "LN", "11726-7", "LN:11726-7"},
		{"peak blood velocity", "LN", "20355-4", "LN:20355-4"},
		{"no scheme", "", "87878005", ":87878005"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			got := CodedConcept{CodeValue: c.value, CodingSchemeDesignator: c.scheme}.Key()
			if got.String() != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

// Standard changes the name of a legacy code, never the concept: what changed
// between editions stays as the file has it.
func TestStandardLeavesEditionsAlone(t *testing.T) {
	for _, c := range []CodedConcept{
		{CodeValue: "109070", CodingSchemeDesignator: "DCM", CodeMeaning: "End Systole"},
		{CodeValue: "255254001", CodingSchemeDesignator: "SCT", CodeMeaning: "End Diastole"},
		{CodeValue: "tr1", CodingSchemeDesignator: "99MAKER", CodingSchemeVersion: "2"},
		{CodeValue: "X-00000", CodingSchemeDesignator: "SRT", CodingSchemeVersion: "1.1"},
		{},
	} {
		if got := c.Standard(); got != c {
			t.Errorf("%v became %v", c, got)
		}
	}
}

// Edition changes lead straight to the current code: no chains, no loops, and
// no legacy identifier that the other table would have mapped.
func TestEditionsTable(t *testing.T) {
	for _, c := range slices.Concat(slices.Collect(maps.Values(editions))...) {
		old, now := c.earlier, c.now
		if again := (CodedConcept{CodeValue: now.CodeValue, CodingSchemeDesignator: now.CodingSchemeDesignator}).Key(); again != now {
			t.Errorf("%s leads to %s, which leads on to %s", old, now, again)
		}
		for _, k := range []Key{old, now} {
			if settled := settle(CodedConcept{CodeValue: k.CodeValue, CodingSchemeDesignator: k.CodingSchemeDesignator}); settled != k {
				t.Errorf("%s is written as %s by the legacy table", k, settled)
			}
		}
		if !now.CheckDigit() {
			t.Errorf("%s: wrong check digit", now)
		}
	}
}

func TestIdempotent(t *testing.T) {
	scheme := rapid.SampledFrom([]string{"SRT", "SCT", "SNM3", "DCM", "LN", "LOINC", "99X", "", " srt "})
	value := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"T-32600", "109070", "F-32011", "121070", "87878005", "G-C306"}))
	rapid.Check(t, func(t *rapid.T) {
		c := CodedConcept{CodeValue: value.Draw(t, "value"), CodingSchemeDesignator: scheme.Draw(t, "scheme")}
		k := c.Key()
		if again := (CodedConcept{CodeValue: k.CodeValue, CodingSchemeDesignator: k.CodingSchemeDesignator}).Key(); again != k {
			t.Fatalf("key of %v: %v, then %v", c, k, again)
		}
		s := c.Standard()
		if s.Standard() != s || s.Key() != k {
			t.Fatalf("standard form of %v: %v", c, s)
		}
	})
}

func TestCheckDigit(t *testing.T) {
	cases := []struct {
		key  string
		want bool
	}{
		{"LN:79921-3", true},
		{"LN:79921-4", false},
		{"LN:79921", false},
		{"SCT:399214001", true},
		{"SCT:399214010", false},
		{"SCT:12", false},
		{"DCM:125203", true},
	}
	for _, c := range cases {
		k, ok := ParseKey(c.key)
		if !ok {
			t.Fatalf("%s not read", c.key)
		}
		if got := k.CheckDigit(); got != c.want {
			t.Errorf("%s: %v", c.key, got)
		}
	}
}

func TestParseKey(t *testing.T) {
	for _, bad := range []string{"", "LN", ":1", "LN:", "79921-3"} {
		if k, ok := ParseKey(bad); ok {
			t.Errorf("%q read as %v", bad, k)
		}
	}
	if k, ok := ParseKey(" SRT:T-32600 "); !ok || k.String() != "SCT:87878005" {
		t.Errorf("got %v", k)
	}
}
