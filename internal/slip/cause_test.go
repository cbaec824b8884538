package slip_test

import (
	"strings"
	"testing"

	"echotally/internal/answer"
	"echotally/internal/check"
	"echotally/internal/datafile/written"
	"echotally/internal/example/described"
	"echotally/internal/finding"
	"echotally/internal/library"
	"echotally/internal/rule"
	"echotally/internal/slip"
	"echotally/rules"
)

// TestLikelyCauses seeds one slip into values that fit, through an example
// added to a shipped rule, and expects the slip among the first two causes.
func TestLikelyCauses(t *testing.T) {
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		title, rule string
		given       map[string]string
		want        string // identifier
		says        string // words of the text
	}{
		{"atrial pressure left out", "tricuspid-valve/rv-systolic-pressure-from-velocity",
			map[string]string{"velocity": "3.00 m/s", "rap": "8 mm[Hg]", "rvsp": "36 mm[Hg]"}, "atrial-pressure", "left out"},
		{"atrial pressure counted twice", "tricuspid-valve/rv-systolic-pressure-from-velocity",
			map[string]string{"velocity": "3.00 m/s", "rap": "8 mm[Hg]", "rvsp": "52.0 mm[Hg]"}, "atrial-pressure", "counted twice"},
		{"a default of 15", "tricuspid-valve/rv-systolic-pressure-from-velocity",
			map[string]string{"velocity": "3.00 m/s", "rap": "3 mm[Hg]", "rvsp": "51 mm[Hg]"}, "atrial-pressure", "15 mmHg instead of 3 mmHg (another right atrial pressure used): gives 51 mmHg, as stated"},
		{"digits of the integral transposed", "left-ventricular-outflow-tract/stroke-volume-from-area",
			map[string]string{"d": "2.104 cm", "vti": "27.13 cm", "sv": "75.55 mL"}, "digits-transposed", "two digits transposed"},
		{"a ratio upside down", "mitral-valve/e-to-a-from-waves",
			map[string]string{"e": "111 cm/s", "a": "48 cm/s", "ratio": "0.43"}, "ratio-inverted", "upside down"},
		{"the share that remains", "left-ventricle/biplane-ejection-fraction-from-volumes",
			map[string]string{"edv": "75 mL", "esv": "28 mL", "ef": "37 %"}, "other-form", "the share that remains"},
		{"over the sum in place of the mean", "mitral-valve/e-over-e-prime-average",
			map[string]string{"e": "238 cm/s", "septal": "7.3 cm/s", "lateral": "7.4 cm/s", "ratio": "16.2"}, "other-form", "the sum"},
		{"the constant of the other valve", "mitral-valve/area-from-half-time",
			map[string]string{"pht": "152 ms", "area": "1.25 cm2"}, "other-form", "190 ms"},
		{"the factor 0.8 left out", "left-ventricle/mass-from-dimensions",
			map[string]string{"ivs": "0.90 cm", "lvid": "4.80 cm", "pw": "0.90 cm", "mass": "185 g"}, "other-form", "0.8"},
		{"the index under the name of the whole", "left-ventricle/diastolic-volume-index-from-volume",
			map[string]string{"stated_index": "61.1 mL/m2", "biplane": "61.1 mL", "bsa": "1.80 m2"}, "indexing", "divided by the body surface area once too often"},
		{"a sign", "right-atrium/ivc-collapse-from-diameters",
			map[string]string{"wide": "15.1 mm", "narrow": "5.9 mm", "collapse": "-61 %"}, "sign", "the sign"},
		{"systole and diastole exchanged", "right-ventricle/area-smaller-in-systole",
			map[string]string{"eda": "12.0 cm2", "esa": "20.0 cm2"}, "exchanged", "exchanged"},
		{"metres against centimetres", "mitral-valve/e-over-e-prime-average",
			map[string]string{"e": "72 cm/s", "septal": "8.0 cm/s", "lateral": "10.0 cm/s", "ratio": "0.08"}, "unit-slip", "0.72 cm/s instead of 72 cm/s"},
		{"pounds", "patient/body-surface-area-from-height-and-weight",
			map[string]string{"height": "175 cm", "weight": "165 kg", "bsa": "1.90 m2"}, "pounds-or-inches", "pounds"},
		{"centimetres for millimetres", "right-ventricle/tapse-plausible",
			map[string]string{"x": "1.9 mm"}, "unit-slip", "19 mm instead of 1.9 mm"},
	} {
		t.Run(c.title, func(t *testing.T) {
			res := failOf(t, set, c.rule, c.given)
			if res.Outcome != finding.Fail {
				t.Fatalf("outcome %s (%s), the slip must fail the rule", res.Outcome, res.Message)
			}
			for i, h := range res.Causes {
				if i < 2 && h.Identifier == c.want && strings.Contains(h.Text, c.says) {
					return
				}
			}
			t.Errorf("want %s (%q) among the first two of %+v", c.want, c.says, res.Causes)
		})
	}
}

// failOf judges a copy of a shipped rule that carries one example with the
// values.
func failOf(t *testing.T, set *library.Library, identifier string, given map[string]string) finding.Result {
	t.Helper()
	for _, r := range set.Rules {
		if r.File.Identifier != identifier {
			continue
		}
		r.Complete()
		one := *r
		one.File.Examples = []rule.Example{{Title: "seeded", Outcome: "fail", Subject: &rule.Person{Age: "60 a", Sex: "F"}, Given: map[string]rule.GivenValues{}}}
		for alias, value := range given {
			if one.Aliases[alias] == nil {
				t.Fatalf("%s has no alias %s", identifier, alias)
			}
			one.File.Examples[0].Given[alias] = rule.GivenValues{{Value: written.Text(value)}}
		}
		study, err := described.Study(set, &one, one.File.Examples[0])
		if err != nil {
			t.Fatal(err)
		}
		reading := answer.Read(set, study)
		checked, aside := check.New(reading, one.File.AppliesTo.Protocol...).Put(&one)
		if checked == nil {
			t.Fatalf("%s does not apply: %s", identifier, aside)
		}
		slip.Explain(reading, check.NewRanges(set.Rules), []*check.Checked{checked})
		return checked.Result
	}
	t.Fatalf("no rule %s", identifier)
	return finding.Result{}
}
