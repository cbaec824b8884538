package term_test

import (
	"encoding/csv"
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/coding"
	"echotally/internal/srtest"
	"echotally/internal/term"
	"echotally/rules"
)

func layer(text string) fstest.MapFS { return fstest.MapFS{"terms.yaml": {Data: []byte(text)}} }

const base = `window:
  apical: {title: Apical, place: 1}
imageView:
  apical-four-chamber: {code: "SCT:399214001", title: Apical four-chamber, window: apical}
flowDirection:
  regurgitant: {codes: ["SCT:397417004", "SCT:312004007"], title: Regurgitant flow}
`

func TestLoad(t *testing.T) {
	c, err := term.Load(layer(base), layer(`imageView:
  apical-four-chamber: {code: "99MAKER:A4C"}
`), fstest.MapFS{})
	if err != nil {
		t.Fatal(err)
	}
	a4c := c.Find(term.ImageView, "apical-four-chamber")
	if a4c == nil || a4c.Window != "apical" || a4c.Title != "Apical four-chamber" || len(a4c.Codes) != 2 {
		t.Fatalf("got %+v", a4c)
	}
	for _, k := range []string{"SCT:399214001", "SRT:G-A19C", "99MAKER:A4C"} {
		key, _ := coding.ParseKey(k)
		if got := c.Of(term.ImageView, key); got != a4c {
			t.Errorf("%s is %+v", k, got)
		}
	}
	if c.Of(term.FlowDirection, a4c.Codes[0]) != nil {
		t.Error("a view is a flow direction")
	}
	if got := c.Names(term.ImageView); len(got) != 1 || got[0] != "apical-four-chamber" {
		t.Errorf("names %v", got)
	}
}

func TestFaults(t *testing.T) {
	cases := []struct{ name, text, want string }{
		{"unknown modifier", "imageVeiw:\n  a: {code: \"DCM:1\", title: A}\n", "did you mean imageView?"},
		{"unknown key", "imageView:\n  a: {code: \"DCM:1\", titel: A}\n", "did you mean title?"},
		{"duplicate name", "imageView:\n  a: {code: \"DCM:1\", title: A}\n  a: {code: \"DCM:2\", title: A}\n", "terms.yaml:3"},
		{"two names for a code", "imageView:\n  a: {code: \"SCT:399214001\", title: A}\n  b: {code: \"SRT:G-A19C\", title: B}\n", "SCT:399214001 already means a"},
		{"no code", "imageView:\n  a: {title: A}\n", "term a has no code"},
		{"no title", "imageView:\n  a: {code: \"DCM:1\"}\n", "term a has no title"},
		{"code without scheme", "imageView:\n  a: {code: \"399214001\", title: A}\n", `"399214001" is no code`},
		{"mistyped code", "imageView:\n  a: {code: \"SCT:399214010\", title: A}\n", "wrong check digit"},
		{"name form", "imageView:\n  A4C: {code: \"DCM:1\", title: A}\n", "lower case words"},
		{"unknown window", "imageView:\n  a: {code: \"DCM:1\", title: A, window: apicl}\n", "unknown window apicl"},
		{"window of a mode", "imageMode:\n  a: {code: \"DCM:1\", title: A, window: apical}\n", "only an image view"},
		{"window without place", "window: {a: {title: A}}\n", "a window has a place"},
		{"two windows in one place", "window: {a: {title: A, place: 1}, b: {title: B, place: 1}}\n", "place 1 is that of a"},
		{"grade with a code", "grade: {a: {title: A, place: 1, code: \"DCM:1\"}}\n", "a grade has a place"},
		{"place of a view", "imageView: {a: {title: A, place: 1, code: \"DCM:1\"}}\n", "only windows and grades"},
		{"region of a view", "imageView: {a: {title: A, code: \"DCM:1\", region: plane}}\n", "only an image mode has a region"},
		{"unknown region", "imageMode: {a: {title: A, code: \"DCM:1\", region: volume}}\n", "plane, motion or spectral"},
		{"seen as nothing", "imageMode: {a: {title: A, code: \"DCM:1\", seenAs: [b]}}\n", "unknown image mode b"},
		{"a view that picks", "imageView: {a: {title: A, code: \"DCM:1\", picks: newest}}\n", "only a selection status"},
		{"valve that is a mode", "imageMode: {a: {title: A, valve: 1, code: \"DCM:1\"}}\n", "only a finding site is a valve"},
		{"study of a mode", "imageMode: {a: {title: A, study: stress, code: \"DCM:1\"}}\n", "how a study is done"},
		{"not YAML", "imageView: [", "terms.yaml"},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			_, err := term.Load(layer(c.text))
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, want %q", err, c.want)
			}
			if !strings.Contains(err.Error(), "terms.yaml:") {
				t.Errorf("no place: %v", err)
			}
		})
	}
}

// All faults are told at once, in the order of the file.
func TestAllFaults(t *testing.T) {
	_, err := term.Load(layer("imageView:\n  b: {title: B}\n  a: {title: A}\nother: {}\n"))
	if err == nil {
		t.Fatal("no fault")
	}
	text := err.Error()
	first, second, third := strings.Index(text, "term b"), strings.Index(text, "term a"), strings.Index(text, "other")
	if first < 0 || second < first || third < second {
		t.Errorf("got %v", err)
	}
}

func TestAbbreviations(t *testing.T) {
	files := func(text string) fstest.MapFS { return fstest.MapFS{"abbreviations.yaml": {Data: []byte(text)}} }
	c, err := term.Load(files("tr: tricuspid regurgitation\n"), files("# none\n"), files("tr: other words\nx: y\n"))
	if err != nil {
		t.Fatal(err)
	}
	for word, want := range map[string]string{"tr": "other words", "x": "y", "valve": "valve"} {
		if got := strings.Join(c.WriteOut(word), " "); got != want {
			t.Errorf("%s is %q, want %q", word, got, want)
		}
	}
	for _, bad := range []string{"TR: tricuspid\n", "tr: Tricuspid\n", "tr: \"\"\n", "t r: x\n", "tr: [a]\n"} {
		if _, err := term.Load(files(bad)); err == nil || !strings.Contains(err.Error(), "abbreviations.yaml:1") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// The shipped terms cover the context groups of PS3.16 they stand for.
func TestShippedTermsCoverContextGroups(t *testing.T) {
	c, err := term.Load(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	f, err := os.Open(srtest.Shared(t, "standard", "contextgroups.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	groups := map[string]term.Field{
		"12221": term.FlowDirection, "12224": term.ImageMode, "12226": term.ImageView, "12227": term.MeasurementMethod,
		"12233": term.CardiacCyclePoint, "12307": term.CardiacCyclePoint, "12234": term.RespiratoryCyclePoint, "12236": term.FindingSite,
		"12305": term.FindingSite, "12237": term.TopographicalModifier, "244": term.Laterality, "3627": term.Derivation,
		"224": term.SelectionStatus, "12301": term.SelectionStatus, "12304": term.MeasuredProperty, "12303": term.MeasurementType,
		"3703": term.WallMotion, "3717": term.FindingSite, "3718": term.FindingSite, "12002": term.Stage, "12238": term.ScoringScheme,
	}
	seen := map[string]int{}
	for _, row := range rows[1:] {
		field, ok := groups[row[0]]
		if !ok {
			continue
		}
		seen[row[0]]++
		k := coding.CodedConcept{CodeValue: row[3], CodingSchemeDesignator: row[2]}.Key()
		if c.Of(field, k) == nil {
			t.Errorf("CID %s %s: %s %s has no term", row[0], row[1], k, row[4])
		}
	}
	for cid := range groups {
		if seen[cid] == 0 {
			t.Errorf("CID %s is not in the table", cid)
		}
	}
}

// Units that are read from a screen have their step; what is computed has none.
func TestStepsOfTheShippedUnits(t *testing.T) {
	c, err := term.Load(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for unit, want := range map[string]float64{"cm": 0.1, "mm": 1, "m/s": 0.01, "ms": 1, "mm[Hg]": 1, "mL": 1, "ml": 1, "%": 1, "mL/m2": 0, "cm2": 0, "1": 0} {
		if got := c.Step(unit); got != want {
			t.Errorf("%s is read in steps of %v, want %v", unit, got, want)
		}
	}
}

// What a finding of the wall scores must be on a scale there is, and only a
// derivation stands for several beats.
func TestMotionAndBeats(t *testing.T) {
	const scheme = "scoringScheme: {four: {code: \"DCM:1\", title: Four}}\n"
	files := func(text string) fstest.MapFS { return fstest.MapFS{"terms.yaml": {Data: []byte(scheme + text)}} }
	c, err := term.Load(files("wallMotion: {still: {code: \"DCM:2\", title: Still, moves: abnormal, scores: {four: 3}}}\nderivation: {mean: {code: \"DCM:3\", title: Mean, beats: several}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	if still := c.Find(term.WallMotion, "still"); still.Moves != term.Abnormal || still.Scores["four"] != 3 || !c.Find(term.Derivation, "mean").Several {
		t.Errorf("%+v", still)
	}
	for bad, want := range map[string]string{
		"wallMotion: {still: {code: \"DCM:2\", title: Still, moves: odd}}\n":                               "unknown motion",
		"wallMotion: {still: {code: \"DCM:2\", title: Still, moves: normal, scores: {five: 1}}}\n":         "no score on a known scale",
		"derivation: {mean: {code: \"DCM:3\", title: Mean, moves: normal}}\n":                              "only a finding of the wall",
		"stage: {rest: {code: \"DCM:3\", title: Rest, beats: several}}\n":                                  "only a derivation",
		"stage: {rest: {code: \"DCM:3\", title: Rest, step: 1}}\n":                                         "only a unit",
		"unit: {metre: {title: Metre, units: [m]}}\n":                                                      "a step above 0",
		"unit: {metre: {title: Metre, units: [m], step: 1}, other: {title: Other, units: [m], step: 2}}\n": "m has its step already",
	} {
		if _, err := term.Load(files(bad)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", bad, err, want)
		}
	}
}
