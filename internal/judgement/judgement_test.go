package judgement

import (
	"reflect"
	"strconv"
	"strings"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/finding"
)

// Every exported field of what is kept has a number of its own, or is left out
// on purpose.
func TestEveryKeptFieldHasItsNumber(t *testing.T) {
	seen := map[reflect.Type]bool{}
	var visit func(of reflect.Type)
	visit = func(of reflect.Type) {
		switch of.Kind() {
		case reflect.Pointer, reflect.Slice:
			visit(of.Elem())
		case reflect.Struct:
			if seen[of] || !strings.HasPrefix(of.PkgPath(), "echotally/") || of.PkgPath() == "echotally/internal/ucum" {
				return
			}
			seen[of] = true
			numbers := map[int]bool{}
			for i := range of.NumField() {
				f := of.Field(i)
				number, rest, _ := strings.Cut(f.Tag.Get("cbor"), ",")
				if number == "-" {
					continue
				}
				n, err := strconv.Atoi(number)
				if err != nil || n < 1 || rest != "keyasint,omitempty" || numbers[n] {
					t.Errorf("%s.%s: tag %q", of, f.Name, f.Tag)
				}
				numbers[n] = true
				visit(f.Type)
			}
		}
	}
	visit(reflect.TypeFor[Judgement]())
	visit(reflect.TypeFor[echo.Study]())
	visit(reflect.TypeFor[finding.About]())
	if len(seen) < 30 {
		t.Errorf("only %d types were looked at", len(seen))
	}
}

// study has two statements in one item and two measurements, one of them in the
// earlier study.
func study() *echo.Study {
	at := func(item string) echo.Source { return echo.Source{SOPInstanceUID: "1.2", Item: item} }
	return &echo.Study{
		Measurements: []echo.Measurement{{Measurand: "a", Source: at("1.1")}, {Measurand: "b", Source: at("1.2"), Link: &echo.Link{Region: 0}}},
		Statements:   []echo.Statement{{Identifier: "x", Source: at("1.3")}, {Identifier: "y", Source: at("1.3")}},
		Segments:     []echo.Segment{{Source: at("1.1")}},
		Images:       []echo.Image{{SOPInstanceUID: "1.3", Regions: []echo.Region{{}}}},
		Prior:        &echo.Prior{Measurements: []echo.Measurement{{Measurand: "a", Source: at("1.1")}}},
	}
}

// pointing is a judgement that points everywhere into a study.
func pointing(s *echo.Study) *Judgement {
	m := &s.Measurements[1]
	return &Judgement{
		Results: []finding.Result{{Rule: "r/one", Evidence: []finding.Evidence{
			{Measurement: &s.Measurements[0]}, {Statement: &s.Statements[1]}, {Segment: &s.Segments[0]}, {Image: &s.Images[0]}, {Measurement: &s.Prior.Measurements[0]},
		}}},
		NotApplicable: []Aside{{Rule: "r/two", Reason: "not for this age"}},
		Several:       []finding.Several{{Chosen: m, Values: []*echo.Measurement{m, &s.Measurements[0]}}, {Values: []*echo.Measurement{}}},
		Acquisition:   &finding.Acquired{Spectra: []finding.AcquiredSpectrum{{Measurement: m, Image: &s.Images[0], Region: &s.Images[0].Regions[0]}}},
		Reconciliation: &finding.Reconciliation{
			Residuals: []finding.Residual{{Measurement: m}, {}}, Suspects: [][]finding.Suspect{{{Measurement: &s.Measurements[0]}}},
		},
	}
}

// What is kept of the pointers finds the same things in the study as it is read
// again.
func TestLinkFindsWhatWasPointedAt(t *testing.T) {
	s := study()
	j := pointing(s)
	j.Refer(s)
	again := study()
	want := pointing(again)
	want.Refer(again)
	abouts := map[string]*finding.About{"r/one": {Identifier: "r/one", Title: "One"}}
	// Referred to the first study and linked to the other, it is as if made from it.
	j.Link(again, func(rule string) *finding.About { return abouts[rule] })
	if j.Results[0].Title != "One" || j.NotApplicable[0].Identifier != "r/two" {
		t.Errorf("results %+v, aside %+v", j.Results[0].About, j.NotApplicable[0].About)
	}
	for i, e := range want.Results[0].Evidence {
		if got := j.Results[0].Evidence[i]; got != e {
			t.Errorf("evidence %d: %+v, want %+v", i, got, e)
		}
	}
	if !reflect.DeepEqual(j.Several, want.Several) || j.Several[0].Chosen != &again.Measurements[1] {
		t.Errorf("several %+v", j.Several)
	}
	if got := j.Acquisition.Spectra[0]; got.Measurement != &again.Measurements[1] || got.Image != &again.Images[0] || got.Region != &again.Images[0].Regions[0] {
		t.Errorf("spectrum %+v", got)
	}
	if r := j.Reconciliation; r.Residuals[0].Measurement != &again.Measurements[1] || r.Residuals[1].Measurement != nil || r.Suspects[0][0].Measurement != &again.Measurements[0] {
		t.Errorf("reconciliation %+v", r)
	}
}

func TestAllIsInTheOrderOfTheLibrary(t *testing.T) {
	j := Judgement{
		Results:       []finding.Result{{Rule: "b"}, {Rule: "d"}},
		NotApplicable: []Aside{{Rule: "a", Reason: "why"}, {Rule: "c"}, {Rule: "e"}},
	}
	var got []string
	for _, r := range j.All() {
		got = append(got, r.Rule+string(r.Outcome)+r.Message)
	}
	if want := []string{"anotApplicablewhy", "b", "cnotApplicable", "d", "enotApplicable"}; !reflect.DeepEqual(got, want) {
		t.Errorf("%q", got)
	}
}
