package stats_test

import (
	"testing"

	"echotally/internal/stats"
)

// TestSampleSizes: a published nomogram of total widths (chart audit module of a
// university), a worked example of an audit guide (300 patients, 70 %, 5 points
// either side: 155), and zero acceptance, 59 for 5 % and 29 for 10 %.
func TestSampleSizes(t *testing.T) {
	for _, c := range []struct {
		share, width float64
		want         int
	}{{0.5, 0.10, 384}, {0.4, 0.10, 369}, {0.3, 0.10, 323}, {0.25, 0.10, 289}, {0.2, 0.10, 246}, {0.15, 0.10, 196}, {0.1, 0.10, 139}, {0.5, 0.20, 96}, {0.3, 0.20, 81}, {0.2, 0.20, 62}} {
		// The nomogram rounds 384.15 and 96.04 down.
		if got := stats.SampleSize(c.share, c.width/2, 0.95, 0); got != c.want && got != c.want+1 {
			t.Errorf("share %v, width %v: %d, want %d", c.share, c.width, got, c.want)
		}
	}
	if got := stats.SampleSize(0.7, 0.05, 0.95, 300); got != 155 && got != 156 {
		t.Errorf("of 300: %d, want 155 or, rounded up, 156", got)
	}
	for _, c := range []struct {
		rate       float64
		population int
		want       int
	}{{0.05, 0, 59}, {0.10, 0, 29}, {0.05, 100, 45}, {0.05, 200, 51}, {0.05, 400, 55}, {0.0001, 5, 5}} {
		if got := stats.CleanNeeded(c.rate, 0.95, c.population); got != c.want {
			t.Errorf("rate %v of %d: %d, want %d", c.rate, c.population, got, c.want)
		}
	}
}
