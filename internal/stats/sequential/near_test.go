package sequential_test

import (
	"math"
	"testing"
)

// near fails when got is not within tolerance of want.
func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.8g, published %.8g (tolerance %g)", what, got, want, tolerance)
	}
}
