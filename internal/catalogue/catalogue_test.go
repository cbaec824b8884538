package catalogue

import (
	"bytes"
	"io/fs"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/library"
	"echotally/internal/rule"

	"github.com/google/go-cmp/cmp"

	"echotally/internal/derive"
)

const identifier = "heart/gradient-from-velocity"

const sample = `identifier: heart/gradient-from-velocity
version: "1.0.0"
title: The gradient follows from the velocity
status: active
kind: consistency
severity: warning
purpose: Another beat.
usage: Compute it again.
knownLimits: None.
relatedArtifact:
  - {type: documentation, label: common practice}
measurands: {v: velocity, g: gradient}
statements: {poor: poor-window}
parameters:
  four: {value: 4, unit: "mm[Hg].s2/m2", origin: common practice}
  room: {value: 2, unit: "mm[Hg]", origin: site choice, documentation: Rounding.}
recompute:
  stated: g
  from: [{title: four v squared, value: "four * v ** 2"}]
  allowance: room
review: "mentioned(poor)"
message: "{g} but {v}."
examples:
  - {title: agrees, given: {v: 3 m/s, g: "36 mm[Hg]"}, outcome: pass}
  - {title: differs, given: {v: 3 m/s, g: "50 mm[Hg]"}, outcome: fail}
  - {title: none, given: {g: "50 mm[Hg]"}, outcome: open}
  - {title: poor, given: {v: 3 m/s, g: "50 mm[Hg]"}, stated: [poor-window], outcome: review}
`

// set loads a rule set of the given rule files.
func set(t *testing.T, rules map[string]string) *library.Library {
	t.Helper()
	files := fstest.MapFS{
		"terms.yaml": {Data: []byte("window: {apical: {title: Apical, place: 1}}\nimageView:\n  apical: {code: \"SCT:399214001\", title: Apical, window: apical}\n")},
		"measurand/heart.yaml": {Data: []byte(`- {identifier: velocity, title: Velocity, unit: m/s, codings: [{conceptName: "LN:11726-7", source: test}]}
- {identifier: gradient, title: Gradient, unit: "mm[Hg]", codings: [{conceptName: "LN:20247-3", source: test}]}
`)},
		"phrases/coded.yaml": {Data: []byte("- {identifier: poor-window, title: Poor window, codings: [\"DCM:1\"]}\n")},
	}
	for name, text := range rules {
		files[name+".yaml"] = &fstest.MapFile{Data: []byte(text)}
	}
	out, err := library.Load(library.Settings{}, fs.FS(files))
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func TestCompareSaysHowMuchAChangeMeans(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		level          Level
		proposed       string
	}{
		{"words", "Another beat.", "From another beat.", Patch, "1.0.1"},
		{"a larger allowance", "room: {value: 2,", "room: {value: 3,", Minor, "1.1.0"},
		{"a smaller allowance", "room: {value: 2,", "room: {value: 1,", Major, "2.0.0"},
		{"another number", "four: {value: 4,", "four: {value: 5,", Major, "2.0.0"},
		{"milder", "severity: warning", "severity: information", Minor, "1.1.0"},
		{"graver", "severity: warning", "severity: error", Major, "2.0.0"},
		{"retired", "status: active", "status: retired", Major, "2.0.0"},
		{"another meaning", "four * v ** 2", "four * v * v", Major, "2.0.0"},
		{"another origin", "origin: site choice", "origin: common practice", Patch, "1.0.1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			changed := strings.Replace(sample, c.old, c.new, 1)
			if changed == sample {
				t.Fatal("nothing was changed")
			}
			changes, worst := Compare(set(t, map[string]string{identifier: sample}), set(t, map[string]string{identifier: changed}))
			if len(changes) != 1 || worst != c.level || changes[0].Level != c.level || changes[0].Proposed != c.proposed || !changes[0].NotDeclared {
				t.Errorf("got %+v, %s; want %s and version %s", changes, worst, c.level, c.proposed)
			}
		})
	}
}

// Whatever part of a rule is changed, the comparison notices.
func TestCompareNoticesEveryPart(t *testing.T) {
	// Who the rule is, what became a part of others when it was loaded, and what
	// only files of a site say.
	apart := []string{"Identifier", "Version", "Sources", "Origin", "Name", "Rows", "DerivedFrom", "ApprovalDate", "Reviewer"}
	for i, of := 0, reflect.TypeFor[rule.File](); i < of.NumField(); i++ {
		if slices.Contains(apart, of.Field(i).Name) {
			continue
		}
		var changed rule.File
		fill(reflect.ValueOf(&changed).Elem().Field(i))
		if c := compareRule(rule.File{}, changed); c.Level == None || len(c.What) == 0 {
			t.Errorf("%s: a change of it goes unnoticed", of.Field(i).Name)
		}
	}
}

// Where a number is from is words, wherever the number is written.
func TestCompareTakesAnOriginForWords(t *testing.T) {
	bounded := func(origin string) rule.File {
		from := rule.ParameterAsWritten{Value: "1", Origin: origin, Cases: []rule.CaseAsWritten{{Sex: "F", Value: "2", Origin: origin}}}
		return rule.File{
			Parameters: map[string]*rule.ParameterAsWritten{"low": &from},
			Possible:   &rule.Bounds{From: from}, Usual: &rule.Bounds{To: from}, Computed: &rule.Computed{Allowance: from},
		}
	}
	if c := compareRule(bounded("from memory"), bounded("common practice")); c.Level != Patch {
		t.Errorf("another origin is %s: %v", c.Level, c.What)
	}
}

func fill(v reflect.Value) {
	switch v.Kind() {
	case reflect.String:
		v.SetString("x")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 1, 1))
	case reflect.Map:
		v.Set(reflect.MakeMap(v.Type()))
		v.SetMapIndex(reflect.ValueOf("x"), reflect.Zero(v.Type().Elem()))
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
	case reflect.Struct:
		fill(v.Field(0))
	}
}

func TestCompareKnowsNewGoneAndDeclared(t *testing.T) {
	other := strings.Replace(sample, identifier, "heart/other", 1)
	one, both := set(t, map[string]string{identifier: sample}), set(t, map[string]string{identifier: sample, "heart/other": other})
	if changes, worst := Compare(one, both); len(changes) != 1 || worst != Minor || changes[0].Identifier != "heart/other" {
		t.Errorf("new rule: %+v, %s", changes, worst)
	}
	if changes, worst := Compare(both, one); len(changes) != 1 || worst != Major {
		t.Errorf("rule gone: %+v, %s", changes, worst)
	}
	if changes, worst := Compare(both, both); len(changes) != 0 || worst != None {
		t.Errorf("nothing changed: %+v, %s", changes, worst)
	}
	raised := strings.NewReplacer("Another beat.", "Some other beat.", `"1.0.0"`, `"1.0.1"`).Replace(sample)
	if changes, _ := Compare(one, set(t, map[string]string{identifier: raised})); len(changes) != 1 || changes[0].NotDeclared {
		t.Errorf("declared change: %+v", changes)
	}
}

func TestSkeletonIsAValidDraft(t *testing.T) {
	text, err := Skeleton("heart/annulus-noted")
	if err != nil {
		t.Fatal(err)
	}
	text = strings.ReplaceAll(text, "tricuspid-regurgitation-peak-velocity", "velocity")
	drafts := set(t, map[string]string{"heart/annulus-noted": text})
	if len(drafts.Resting) != 1 || len(drafts.Rules) != 0 {
		t.Errorf("%d resting, %d running rules; want one draft", len(drafts.Resting), len(drafts.Rules))
	}
	for _, bad := range []string{"annulus", "Heart/annulus", "heart/", "../heart/x", "heart/a/b", "heart/a b"} {
		if _, err := Skeleton(bad); err == nil {
			t.Errorf("identifier %q was taken", bad)
		}
	}
}

func TestPageAndShowTellAllThatARuleSays(t *testing.T) {
	s := set(t, map[string]string{identifier: sample})
	var page, show, list bytes.Buffer
	if err := Page(&page, s); err != nil {
		t.Fatal(err)
	}
	if err := Show(&show, s.Rules[0]); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		strings.TrimPrefix(identifier, "heart/"), "The gradient follows from the velocity", "Another beat.", "Compute it again.", "four * v ** 2", "room", "common practice",
		"site choice", "mentioned(poor)", "warning", "consistency", "1.0.0",
	} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the catalogue lacks %q", want)
		}
		if !strings.Contains(show.String(), want) {
			t.Errorf("the page of the rule lacks %q", want)
		}
	}
	_, sources, found := strings.Cut(page.String(), "## by-guideline")
	if !found || !strings.Contains(sources, "| common practice |  | 1: "+identifier+" |") {
		t.Errorf("the rule is not listed by its source: %s", sources)
	}
	n, err := List(&list, s, Filter{Prefix: "heart/"})
	if err != nil || n != 1 {
		t.Errorf("%d rules listed, error %v", n, err)
	}
	if n, _ := List(&list, s, Filter{Prefix: "valve/"}); n != 0 {
		t.Errorf("%d rules listed under a prefix nobody has", n)
	}
	for guideline, want := range map[string]int{"COMMON": 1, "site choice": 1, "nobody 1900": 0} {
		if n, _ := List(&list, s, Filter{Guideline: guideline}); n != want {
			t.Errorf("%d rules rest on %q, want %d", n, guideline, want)
		}
	}
}

func TestFormulasAreTableWide(t *testing.T) {
	table, err := derive.Load()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := Formulas(&b, table); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(len(table.All()), strings.Count(b.String(), "Source: ")); diff != "" {
		t.Errorf("formulas and sources: %s", diff)
	}
}
