package statement

import (
	"fmt"
	"strings"
	"testing"
)

func TestValuesSaidInSentences(t *testing.T) {
	c := shipped(t)
	for text, want := range map[string]string{
		"Normal left ventricular systolic function, EF 62 %.":            "left-ventricular-ejection-fraction 62-62",
		"LVEF estimated at 55-60%.":                                      "left-ventricular-ejection-fraction 55-60",
		"Normale Funktion, EF 62 %.":                                     "left-ventricular-ejection-fraction 62-62",
		"Ejektionsfraktion (biplan) 48,5 %.":                             "left-ventricular-ejection-fraction 48.5-48.5",
		"Fraction d'éjection à 45 %.":                                    "left-ventricular-ejection-fraction 45-45",
		"FEVG entre 50 et 55 %.":                                         "",
		"RV function normal, RVEF 50 %.":                                 "",
		"RV ejection fraction 45 %.":                                     "",
		"Previously EF 30 %.":                                            "",
		"EF 30 % in 2019, now 50 %.":                                     "",
		"EF below 40 %.":                                                 "",
		"EF?":                                                            "",
		"EF 62.":                                                         "",
		"Estimated systolic pulmonary pressure 45 mmHg.":                 "right-ventricular-systolic-pressure 45-45",
		"Geschätzter systolischer Pulmonaldruck 28 mmHg.":                "right-ventricular-systolic-pressure 28-28",
		"Pression pulmonaire systolique estimée à 52 mmHg.":              "right-ventricular-systolic-pressure 52-52",
		"Ischaemic heart disease. EF, by eye, 40 % and PASP of 50 mm Hg": "left-ventricular-ejection-fraction 40-40 right-ventricular-systolic-pressure 50-50",
	} {
		var got []string
		for _, n := range c.Numbers(text) {
			got = append(got, fmt.Sprintf("%s %v-%v", n.Measurand, n.Low, n.High))
		}
		if strings.Join(got, " ") != want {
			t.Errorf("%s: %q, want %q", text, got, want)
		}
	}
}
