package stats_test

import (
	"testing"

	"echotally/internal/stats"
)

// Ten intervals together at 95 % are 99.5 % each.
func TestSimultaneous(t *testing.T) {
	near(t, "confidence", stats.Simultaneous(0.95, 10), 0.995, 1e-12)
	near(t, "one", stats.Simultaneous(0.95, 1), 0.95, 1e-12)
	near(t, "none", stats.Simultaneous(0.95, 0), 0.95, 1e-12)
}
