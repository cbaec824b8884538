package slip

import "testing"

// TestDigitsAreNeitherSignNorExponent counts the digits that somebody could have
// mistaken.
func TestDigitsAreNeitherSignNorExponent(t *testing.T) {
	for text, want := range map[string]int{"12.0": 3, "-68": 2, "0.05": 1, "+1.25E+01": 3, "-2.5e-3": 2, "203 ": 3} {
		if got := digitCount(text); got != want {
			t.Errorf("%q: %d digits, want %d", text, got, want)
		}
	}
}
