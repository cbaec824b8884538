package statement

import (
	"strings"
	"testing"
)

// TestNamesAreNoWordsOfReports: of names, dates and numbers of somebody nothing is
// left, what a report says stays, and says the same.
func TestNamesAreNoWordsOfReports(t *testing.T) {
	c := shipped(t)
	v := c.Vocabulary("Peak velocity of tricuspid regurgitation")
	refuse := func(w string) bool { return w == "white" }
	for _, tt := range []struct{ text, gone, kept string }{
		{"Mild tricuspid regurgitation. Discussed with Dr Stenberg.", "Stenberg", "Mild tricuspid regurgitation."},
		{"Normann reports severe mitral regurgitation", "Normann", "severe mitral regurgitation"},
		{"Mittelgradige Trikuspidalinsuffizienz, Frau Regurgent-Mildred war unruhig", "Mildred", "Mittelgradige Trikuspidalinsuffizienz"},
		{"EF 55 %. Seen on 03.10.2026 at 10/3, ID 4711223, 2026-10-03, 3.10.26", "2026", "EF 55 %."},
		{"ID 4711223", "4711", ""},
		{"60/60 sign, seen 10/2026 and 7/3", "2026", "60/60 sign"},
		{"EF 55-60 %, TAPSE 1.9 cm", "xxxxxx", "55-60 %"},
		{"Mrs White: no pericardial effusion", "White", "no pericardial effusion"},
	} {
		clean := v.Clean(tt.text, refuse)
		if strings.Contains(clean, tt.gone) || !strings.Contains(clean, tt.kept) {
			t.Errorf("%q became %q", tt.text, clean)
		}
	}
	for _, text := range []string{
		"No pericardial effusion.", "Leichte bis mittelgradige Mitralinsuffizienz, keine Aortenstenose.", "Insuffisance tricuspide modérée.", "Poor acoustic window; apical views not obtained.",
		"Moderate TR, no TS. LVEF 45 %.",
	} {
		was, is := c.InText(text), c.InText(v.Clean(text, func(string) bool { return false }))
		if len(was) == 0 || len(was) != len(is) {
			t.Errorf("%q says %v, cleaned %q says %v", text, was, v.Clean(text, func(string) bool { return false }), is)
			continue
		}
		for i := range was {
			if was[i].Identifier != is[i].Identifier || was[i].Negated != is[i].Negated {
				t.Errorf("%q: %v became %v", text, was[i], is[i])
			}
		}
	}
	if Masked == "" {
		t.Error("a masked word leaves a gap")
	}
}
