package check_test

import (
	"fmt"
	"strings"
	"testing"

	"echotally/internal/library"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/term"
	"echotally/internal/ucum"
	"echotally/rules"
)

// wallStudy has an index of 1.5 and the segments given as term names: site,
// finding, and the scale.
func wallStudy(t *testing.T, set *library.Library, segments ...[3]string) *echo.Study {
	t.Helper()
	code := func(f term.Field, name string) *coding.CodedConcept {
		if name == "" {
			return nil
		}
		found := set.Terms.Find(f, name)
		if found == nil {
			t.Fatalf("no term %s", name)
		}
		return &coding.CodedConcept{CodeValue: found.Codes[0].CodeValue, CodingSchemeDesignator: found.Codes[0].CodingSchemeDesignator, CodeMeaning: found.Title}
	}
	x, _, err := ucum.ParseDecimal("1.5")
	if err != nil {
		t.Fatal(err)
	}
	q := &ucum.Quantity{Value: x}
	s := &echo.Study{Measurements: []echo.Measurement{{
		Measurand: "left-ventricular-wall-motion-score-index", Role: echo.Result, ValueText: "1.5", Quantity: q, Canonical: q,
		Source: echo.Source{SOPInstanceUID: "2.25.1", Item: "1.1"},
	}}}
	for i, g := range segments {
		s.Segments = append(s.Segments, echo.Segment{
			Site: *code(term.FindingSite, g[0]), Finding: code(term.WallMotion, g[1]), Scheme: code(term.ScoringScheme, g[2]),
			Source: echo.Source{SOPInstanceUID: "2.25.1", Item: fmt.Sprintf("1.2.%d", i+1)},
		})
	}
	return s
}

func wallResult(t *testing.T, set *library.Library, s *echo.Study, identifier string) finding.Result {
	t.Helper()
	_, results := put(set, s)
	return resultOf(t, results, identifier)
}

// The sheet points at each segment that is not normal, and at one that stands for
// those that are.
func TestResultsPointAtSegments(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	const index = "left-ventricle/wall-motion-score-index-from-segments"
	s := wallStudy(t, set, [3]string{"lv-mid-inferior", "normal", "four-point"}, [3]string{"lv-mid-anterior", "akinesis", "four-point"},
		[3]string{"lv-basal-inferior", "normal", "four-point"}, [3]string{"lv-basal-anterior", "normal", "four-point"}, [3]string{"lv-apical-lateral", "not-visualized", "four-point"})
	r := wallResult(t, set, s, index)
	if r.Outcome != finding.Pass { // (1 + 3 + 1 + 1) / 4
		t.Errorf("%s: %s", r.Outcome, r.Message)
	}
	var got []string
	for _, e := range r.Evidence {
		if e.Segment != nil {
			got = append(got, strings.TrimSpace(e.Segment.Source.Item+" "+e.Note))
		}
	}
	if text := strings.Join(got, "; "); text != "1.2.1 and 2 more like it; 1.2.2; 1.2.5" {
		t.Errorf("evidence %s", text)
	}
	unscaled := wallStudy(t, set, [3]string{"lv-mid-inferior", "akinesis", ""}, [3]string{"lv-mid-anterior", "normal", ""}, [3]string{"lv-apical-lateral", "normal", "four-point"})
	if r = wallResult(t, set, unscaled, index); r.Outcome != finding.Open || !strings.Contains(r.Message, "Left ventricle mid inferior segment: no score is written and no scale stated (and 1 more)") {
		t.Errorf("%s: %s", r.Outcome, r.Message)
	}
}

// Superseded reports do not speak of segments, and a stage other than rest does
// not count beside one of rest.
func TestWhichSegmentsCount(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	const index = "left-ventricle/wall-motion-score-index-from-segments"
	rest := set.Terms.Find(term.Stage, "resting").Codes[0]
	s := wallStudy(t, set, [3]string{"lv-mid-inferior", "normal", "four-point"}, [3]string{"lv-mid-anterior", "hypokinesis", "four-point"}, [3]string{"lv-mid-inferior", "akinesis", "four-point"})
	if r := wallResult(t, set, s, index); r.Outcome != finding.Open { // scored twice
		t.Errorf("twice: %s %s", r.Outcome, r.Message)
	}
	for i := range 2 {
		s.Segments[i].Stage = &echo.Modifier{Concept: coding.CodedConcept{CodeValue: rest.CodeValue, CodingSchemeDesignator: rest.CodingSchemeDesignator}}
	}
	if r := wallResult(t, set, s, index); r.Outcome != finding.Pass {
		t.Errorf("of rest: %s %s", r.Outcome, r.Message)
	}
	s.Documents = []echo.Document{{SOPInstanceUID: "2.25.1", SupersededBy: "2.25.2"}}
	if r := wallResult(t, set, s, index); r.Outcome != finding.NotApplicable {
		t.Errorf("superseded: %s %s", r.Outcome, r.Message)
	}
}
