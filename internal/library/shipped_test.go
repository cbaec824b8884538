package library_test

import (
	"reflect"
	"testing"
	"testing/fstest"

	"echotally/internal/datafile/plain"
	"echotally/internal/library"
	"echotally/internal/library/layer"
	"echotally/internal/rule"
	"echotally/rules"
)

// What is compiled late was linted here.
func TestShippedFilesHaveNoFault(t *testing.T) {
	for _, err := range library.Lint(library.Settings{Drafts: true}, rules.FS) {
		t.Error(err)
	}
}

// The shipped rules say the same with and without their examples.
func TestOnlyTheExamplesAreLeftOut(t *testing.T) {
	all, err := library.Load(library.Settings{Drafts: true}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	bare, err := library.Load(library.Settings{Drafts: true, NoExamples: true}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	if bare.Digest != all.Digest || len(bare.Rules) != len(all.Rules) {
		t.Fatalf("%d rules of %s, want %d of %s", len(bare.Rules), bare.Digest, len(all.Rules), all.Digest)
	}
	for i, r := range all.Rules {
		if len(r.File.AllExamples()) == 0 || bare.Rules[i].File.Examples != nil {
			t.Errorf("%s has %d examples, and %d where none are wanted", r.Path, len(r.File.Examples), len(bare.Rules[i].File.Examples))
		}
		want := r.File
		want.Examples = nil
		if got := bare.Rules[i].File; !reflect.DeepEqual(got, want) {
			t.Errorf("%s without examples:\n%+v, want\n%+v", r.Path, got, want)
		}
		if bare.Rules[i].Digest() != r.Digest() {
			t.Errorf("%s has another digest without its examples", r.Path)
		}
	}
}

// Every shipped rule is decoded by the quick reader, with its examples and without.
func TestNoShippedRuleNeedsTheLibrary(t *testing.T) {
	names, err := layer.Files(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		src, err := rules.FS.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, leave := range []string{"", "examples"} {
			if layer.IsRule(name) && !plain.Decode(string(src), leave, reflect.ValueOf(&rule.File{}).Elem()) {
				t.Errorf("%s is beyond the quick reader; it would be slow to load", name)
			}
		}
	}
}

// A library for reading has the catalogues and the digest of the whole, and no
// rule.
func TestALibraryForReading(t *testing.T) {
	site := fstest.MapFS{"our-lab/faulty.yaml": {Data: []byte("identifier: other\n")}, "protocol/faulty.yaml": {Data: []byte("a: b\n")}}
	whole, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	reading, err := library.LoadForReading(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	if reading.Digest != whole.Digest || len(reading.Rules)+len(reading.Protocols)+len(reading.Relations) != 0 || len(reading.Measurands.Measurands) != len(whole.Measurands.Measurands) {
		t.Errorf("%s with %d rules, want %s", reading.Digest, len(reading.Rules), whole.Digest)
	}
	if _, err := library.LoadForReading(library.Settings{}, rules.FS, site); err != nil {
		t.Errorf("a rule that reads nothing keeps from reading: %v", err)
	}
}

// A site's change of a shipped rule is in force where examples are left out too.
func TestSiteChangesARuleWithoutItsExamples(t *testing.T) {
	const name = "tricuspid-valve/peak-velocity-highest-counts"
	site := fstest.MapFS{name + ".yaml": {Data: []byte("derivedFrom: \"" + name + "@2.1.0\"\napprovalDate: \"2026-11-01\"\nreviewer: quality lead\nparameters:\n" +
		"  slack: {value: 8, unit: \"%\", origin: site choice}\n")}}
	for _, settings := range []library.Settings{{}, {NoExamples: true}} {
		lib, err := library.Load(settings, rules.FS, site)
		if err != nil {
			t.Fatalf("%+v: %v", settings, err)
		}
		for _, one := range lib.Rules {
			if one.File.Identifier == name && (!one.Site || one.Parameters["slack"].Value.Float() != 8) {
				t.Errorf("%+v: %v, from the site %v", settings, one.Parameters["slack"], one.Site)
			}
		}
	}
}

func BenchmarkStart(b *testing.B) {
	for _, c := range []struct {
		name string
		load func() error
	}{
		{"check", func() error {
			_, err := library.Load(library.Settings{NoExamples: true}, rules.FS)
			return err
		}},
		{"read", func() error {
			_, err := library.LoadForReading(library.Settings{}, rules.FS)
			return err
		}},
		{"lint", func() error {
			for _, err := range library.Lint(library.Settings{Drafts: true}, rules.FS) {
				return err
			}
			return nil
		}},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := c.load(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// Rules come by identifier: a judgement merges those that apply with those that
// do not by it.
func TestRulesComeByIdentifier(t *testing.T) {
	all, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for i := 1; i < len(all.Rules); i++ {
		if a, b := all.Rules[i-1].File.Identifier, all.Rules[i].File.Identifier; a >= b {
			t.Errorf("%s stands before %s", a, b)
		}
	}
}
