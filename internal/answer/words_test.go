package answer

import (
	"testing"

	"echotally/internal/ucum"
)

func TestComputedNumbersInUnitsPeopleUse(t *testing.T) {
	for _, tt := range []struct {
		x          float64
		unit, want string
	}{
		{4660, "mm2.cm", "46.6 mL"},
		{51.9, "cm.s/m", "519 ms"},
		{38.9, "mm[Hg]", "38.9 mmHg"},
		{1.27, "1", "1.27"},
	} {
		u, err := ucum.Parse(tt.unit)
		if err != nil {
			t.Fatal(err)
		}
		if got := legible(tt.x, u); got != tt.want {
			t.Errorf("%g %s: %q, want %q", tt.x, tt.unit, got, tt.want)
		}
	}
}
