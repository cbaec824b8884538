package stats_test

import (
	"math"
	"testing"

	"echotally/internal/stats/kappa"
)

// Tables of Cohen J. Psychol Bull 1968;70:213, table 1, and of Feinstein AR,
// Cicchetti DV. J Clin Epidemiol 1990;43:543 (from memory), rows by the first
// reader.
var (
	cohen   = [][]int{{88, 14, 18}, {10, 40, 10}, {2, 6, 12}}
	paradox = [][]int{{80, 10}, {5, 5}}
)

// Cohen's paper prints 0.492 without weights and 0.348 with disagreement weights
// 0 1 3 / 1 0 6 / 3 6 0.
func TestKappaOfCohen(t *testing.T) {
	near(t, "kappa", kappa.NewKappa(cohen, kappa.Nominal, 0.95).Value, 0.492, 1e-3)
	far := [3][3]float64{{0, 1, 3}, {1, 0, 6}, {3, 6, 0}}
	weighted := kappa.NewKappa(cohen, func(i, j, _ int) float64 { return 1 - far[i][j]/6 }, 0.95)
	near(t, "weighted kappa", weighted.Value, 0.348, 1e-3)
}

// The paradox: 85 % agreement is a kappa of 0.70 in one table and of 0.32 in the
// other; adjusted for prevalence and bias it is 0.70 in both.
func TestKappaParadox(t *testing.T) {
	for _, one := range []struct {
		table [][]int
		kappa float64
	}{{[][]int{{40, 9}, {6, 45}}, 0.70}, {paradox, 0.32}} {
		k := kappa.NewKappa(one.table, kappa.Nominal, 0.95)
		near(t, "observed", k.Observed, 0.85, 1e-9)
		near(t, "kappa", k.Value, one.kappa, 5e-3)
		near(t, "adjusted", k.Adjusted, 0.70, 1e-9)
	}
}

// All in one grade tells nothing beyond it.
func TestKappaOfOneGrade(t *testing.T) {
	if k := kappa.NewKappa([][]int{{30, 0}, {0, 0}}, kappa.Quadratic, 0.95); !math.IsNaN(k.Value) || k.Observed != 1 {
		t.Errorf("%+v", k)
	}
}
