package mistake_test

import (
	"strings"
	"testing"
	"testing/fstest"

	"echotally/internal/measurand"
	"echotally/internal/mistake"
	"echotally/internal/term"
	"echotally/rules"
)

func catalogue(t *testing.T) *measurand.Catalogue {
	t.Helper()
	terms, err := term.Load(rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	c, err := measurand.Load(terms, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestFactorsOfAQuantity(t *testing.T) {
	c := catalogue(t)
	table, err := mistake.Load(c, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct{ measurand, slips string }{
		{"lvot-diameter", "unit-slip unit-slip radius-for-diameter radius-for-diameter"},
		{"lvot-velocity-time-integral", "unit-slip unit-slip unit-slip unit-slip"},
		{"left-ventricular-ejection-fraction-biplane", "unit-slip unit-slip decimal-point decimal-point decimal-point decimal-point"},
		{"left-ventricular-end-diastolic-volume-index", "decimal-point decimal-point decimal-point decimal-point"}, // mL/m2 is no length
		{"body-weight", "pounds-or-inches pounds-or-inches decimal-point decimal-point decimal-point decimal-point"},
	} {
		m := c.Find(tt.measurand)
		if m == nil {
			t.Errorf("no measurand %s", tt.measurand)
			continue
		}
		var got []string
		for _, f := range table.Factors(m, m.Unit) {
			got = append(got, f.Slip.Identifier)
		}
		if s := strings.Join(got, " "); s != tt.slips {
			t.Errorf("%s: %s, want %s", tt.measurand, s, tt.slips)
		}
	}
}

func TestAlike(t *testing.T) {
	table, err := mistake.Load(catalogue(t), rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		a, b  string
		alike bool
	}{
		{"mitral-annular-velocity-e-prime-septal", "mitral-annular-velocity-e-prime-lateral", true},
		{"lvot-velocity-time-integral", "rvot-velocity-time-integral", true},
		{"lvot-diameter", "rvot-diameter-distal", true},
		{"heart-rate", "lvot-diameter", false},
	} {
		if got := table.Alike(tt.a, tt.b); got != tt.alike {
			t.Errorf("%s and %s: %v", tt.a, tt.b, got)
		}
	}
}

// A faulty table is refused with the place and what is wrong.
func TestFaultyTable(t *testing.T) {
	const limits = "limits: {typedDigits: 6, copiedDigits: 2, copyReach: 1000, mostEdited: 1.5, oneSlip: 1.5, misread: 3, chance: 0.3}\n"
	c := catalogue(t)
	for text, want := range map[string]string{
		"slips: {a: {}}\n" + limits: "no commonness",
		"slips: {a: {commonness: 1}}\nfactors: [{slip: b, by: 2}]\n" + limits:                               "unknown slip b",
		"slips: {a: {commonness: 1}}\nfactors: [{slip: a, by: 0}]\n" + limits:                               "more than nought",
		"slips: {a: {commonness: 1}}\nfactors: [{slip: a, quantity: x, by: 2}]\n" + limits:                  "no measurand is a x",
		"slips: {a: {commonness: 1}}\nusual: [{slip: a, measurand: lvot-diameter, values: [2]}]\n" + limits: "nobody stands behind",
		"slips: {a: {commonness: 1}}\nindexed: {slip: a, by: nothing}\n" + limits:                           "unknown measurand nothing",
		"slips: {a: {commonness: 1}}\n":                       "no limits",
		"slips: {a: {commonness: 1, often: true}}\n" + limits: "often",
	} {
		_, err := mistake.Load(c, fstest.MapFS{"mistakes.yaml": {Data: []byte(text)}})
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "mistakes.yaml") {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
	if table, err := mistake.Load(c, fstest.MapFS{}); err != nil || table.Slip("unit-slip") != nil {
		t.Errorf("without a file: %v", err)
	}
}
