package stats_test

import (
	"math"
	"testing"

	"echotally/internal/stats/kappa"
	"echotally/internal/stats/reliability"
)

// check is one figure that somebody published.
type check struct {
	source, what     string
	got, want, tenth float64 // tenth: half a unit of the last figure that was printed
}

// linear are the weights of Cicchetti DV, Allison T. Am J EEG Technol 1971;11:101.
func linear(i, j, grades int) float64 { return 1 - math.Abs(float64(i-j))/float64(grades-1) }

// fleiss are thirty patients put into one of five classes by six psychiatrists each
// (Fleiss JL. Psychol Bull 1971;76:378, table 1; data as in the tests of a statistics
// library).
func fleiss() [][]int {
	var out [][]int
	for _, row := range []string{
		"444444", "222555", "233335", "555555", "222444", "113333", "333355", "113334", "114444", "555555", "144444", "124444", "222333", "144444", "224445",
		"333335", "111455", "111112", "224444", "133555", "555555", "244444", "224555", "114444", "144445", "222224", "111155", "224444", "133333", "555555",
	} {
		counts := make([]int, 5)
		for _, r := range row {
			counts[r-'1']++
		}
		out = append(out, counts)
	}
	return out
}

// fourteen are ten subjects graded by fourteen readers: an encyclopaedic worked
// example, which prints 0.210.
var fourteen = [][]int{{0, 0, 0, 0, 14}, {0, 2, 6, 4, 2}, {0, 0, 3, 5, 6}, {0, 3, 9, 2, 0}, {2, 2, 8, 1, 1}, {7, 7, 0, 0, 0}, {3, 2, 6, 3, 0}, {2, 5, 3, 2, 2}, {6, 5, 2, 1, 0}, {0, 2, 2, 3, 7}}

// Tables of two readers.
var (
	diagnoses = [][]int{{75, 1, 4}, {5, 4, 1}, {0, 0, 10}}                                                                // Fleiss JL. Statistical methods for rates and proportions, 2nd ed. 1981, table 13.1
	winnipeg  = [][]int{{38, 5, 0, 1}, {33, 11, 3, 0}, {10, 14, 5, 6}, {3, 7, 3, 10}}                                     // Landis JR, Koch GG. Biometrics 1977;33:159, patients of Winnipeg
	orleans   = [][]int{{5, 3, 0, 0}, {3, 11, 4, 0}, {2, 13, 3, 4}, {1, 2, 4, 14}}                                        // the same, of New Orleans
	carcinoma = [][]int{{22, 2, 2, 0}, {5, 7, 14, 0}, {0, 2, 36, 0}, {0, 1, 17, 10}}                                      // Agresti A. Categorical data analysis, 2nd ed. 2002, table 10.8
	skin      = [][]int{{10, 4, 1, 0}, {5, 10, 12, 2}, {2, 4, 12, 5}, {0, 2, 6, 13}}                                      // manual of a statistics package, two dermatologists
	lifts     = [][]float64{{146, 140}, {148, 152}, {170, 152}, {90, 99}, {157, 145}, {156, 153}, {176, 167}, {205, 218}} // Weir JP. J Strength Cond Res 2005;19:231, data set A
)

// TestAgreementOfReadersAsPublished: figures of papers, books and manuals about the
// agreement of readers. Those of tables 13.1, of the manual and of Weir are from
// memory; all but Weir's are found again by statsmodels (TestAgainstScipy).
func TestAgreementOfReadersAsPublished(t *testing.T) {
	many, fourth := kappa.NewManyReaders(fleiss()), kappa.NewManyReaders(fourteen)
	of := func(table [][]int, w kappa.Weights) kappa.Kappa { return kappa.NewKappa(table, w, 0.95) }
	d, win, orl, car := of(diagnoses, kappa.Nominal), of(winnipeg, kappa.Nominal), of(orleans, kappa.Nominal), of(carcinoma, kappa.Nominal)
	plain, weighted := of(skin, kappa.Nominal), of(skin, linear)
	lift := reliability.NewIntraclass(lifts, 0.95)
	peak := reliability.NewAgreement(mini1, wright1, 2, 0.95)
	checks := []check{
		{"Fleiss 1971", "kappa of many", many.Value, 0.430, 5e-4}, {"Fleiss 1971", "observed", many.Observed, 0.556, 5e-4}, {"Fleiss 1971", "chance", many.Chance, 0.220, 5e-4},
		{"encyclopaedia", "kappa of fourteen", fourth.Value, 0.210, 5e-4}, {"encyclopaedia", "observed", fourth.Observed, 0.378, 5e-4}, {"encyclopaedia", "chance", fourth.Chance, 0.213, 5e-4},
		{"Fleiss 1981", "kappa", d.Value, 0.68, 5e-3}, {"Fleiss 1981", "its error", d.SE, 0.087, 1e-3}, {"Fleiss 1981", "observed", d.Observed, 0.89, 5e-3}, {"Fleiss 1981", "chance", d.Chance, 0.66, 5e-3},
		{"Landis and Koch 1977", "Winnipeg", win.Value, 0.208, 5e-4}, {"Landis and Koch 1977", "its error", win.SE, 0.050, 1e-3}, {"Landis and Koch 1977", "New Orleans", orl.Value, 0.297, 5e-4}, {"Landis and Koch 1977", "its error", orl.SE, 0.079, 1e-3},
		{"Agresti 2002", "kappa", car.Value, 0.493, 5e-4}, {"Agresti 2002", "its error", car.SE, 0.057, 5e-4},
		{"manual", "kappa", plain.Value, 0.3449, 5e-5}, {"manual", "its error", plain.SE, 0.0724, 5e-5}, {"manual", "low", plain.Interval.Low, 0.2030, 5e-5}, {"manual", "high", plain.Interval.High, 0.4868, 5e-5},
		{"manual", "weighted", weighted.Value, 0.5082, 5e-5}, {"manual", "its error", weighted.SE, 0.0655, 5e-5}, {"manual", "low", weighted.Interval.Low, 0.3798, 5e-5}, {"manual", "high", weighted.Interval.High, 0.6366, 5e-5},
		{"Weir 2005", "ICC 2,1", lift.Of(reliability.RandomSingle).Value, 0.95, 5e-3}, {"Weir 2005", "ICC 3,1", lift.Of(reliability.FixedSingle).Value, 0.95, 5e-3}, {"Weir 2005", "error of measurement", math.Sqrt(lift.Errors), 7.6, 5e-2},
		{"Bland and Altman 1986", "bias", peak.Bias, -2.1, 5e-2}, {"Bland and Altman 1986", "SD", peak.SD, 38.8, 5e-2}, {"Bland and Altman 1986", "lower limit", peak.Lower, -79.7, 5e-2}, {"Bland and Altman 1986", "upper limit", peak.Upper, 75.5, 1e-1},
	}
	if len(checks) < 30 {
		t.Errorf("%d figures", len(checks))
	}
	for _, c := range checks {
		// The paper of 1986 rounds before it adds: 38.8 twice from -2.1.
		near(t, c.source+", "+c.what, c.got, c.want, c.tenth*1.5)
	}
}

// TestOneGradeOfMany: all in one grade tells nothing beyond it.
func TestOneGradeOfMany(t *testing.T) {
	if m := kappa.NewManyReaders([][]int{{3, 0}, {3, 0}}); !math.IsNaN(m.Value) || m.Observed != 1 {
		t.Errorf("%+v", m)
	}
}
