package measurand_test

import (
	"slices"
	"testing"
)

// What people call a quantity leads to it, and to what is made of it.
func TestSearch(t *testing.T) {
	c := shipped(t)
	for words, want := range map[string]string{
		"tapse": "tricuspid-annular-plane-systolic-excursion", "TAPSE": "tapse-to-pulmonary-pressure-ratio", "RVSP": "right-ventricular-systolic-pressure",
		"S'": "tricuspid-annular-velocity-s-prime", "s prime": "tricuspid-annular-velocity-s-prime", "lvef": "left-ventricular-ejection-fraction",
		"80080-5": "right-ventricular-basal-diameter", "ln:80080-5": "right-ventricular-basal-diameter", "right-ventricular-basal": "right-ventricular-basal-diameter",
		"basal diameter right ventricle": "right-ventricular-basal-diameter",
	} {
		var found []string
		for _, m := range c.Search(words) {
			found = append(found, m.Identifier)
		}
		if !slices.Contains(found, want) || len(found) > 40 {
			t.Errorf("%q leads to %d, %.300q, not to %s", words, len(found), found, want)
		}
	}
	for _, words := range []string{"zzz", "--", "imson"} {
		if found := c.Search(words); len(found) > 0 {
			t.Errorf("%q leads to %s", words, found[0].Identifier)
		}
	}
	if n := len(c.Search(" ")); n != len(c.Measurands) {
		t.Errorf("no words lead to %d of %d", n, len(c.Measurands))
	}
	if got := c.Abbreviations(c.Find("tricuspid-annular-plane-systolic-excursion")); !slices.Contains(got, "tapse") {
		t.Errorf("abbreviations %q", got)
	}
}
