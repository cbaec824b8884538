package ruletest

import (
	"maps"
	"slices"
	"strings"
	"testing"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/library"
	"echotally/internal/ucum"
)

// StudyOf builds a study from "value unit" texts by measurand.
func StudyOf(t testing.TB, set *library.Library, values map[string]string, said ...string) *echo.Study {
	t.Helper()
	s := &echo.Study{}
	for _, id := range slices.Sorted(maps.Keys(values)) {
		m := set.Measurands.Find(id)
		if m == nil {
			t.Fatalf("no measurand %s", id)
		}
		number, code, _ := strings.Cut(values[id], " ")
		d, _, err := ucum.ParseDecimal(number)
		if err != nil {
			t.Fatal(err)
		}
		u, err := ucum.Parse(code)
		if err != nil {
			t.Fatal(err)
		}
		q := ucum.Quantity{Value: d, Unit: u}
		canonical, err := q.To(m.Unit)
		if err != nil {
			t.Fatal(err)
		}
		s.Measurements = append(s.Measurements, echo.Measurement{Measurand: id, ConceptName: coding.CodedConcept{CodeMeaning: m.Title},
			ValueText: number, Quantity: &q, Canonical: &canonical, Role: echo.Result, Source: echo.Source{SOPInstanceUID: "2.25.1", Item: id}})
	}
	for _, id := range said {
		s.Statements = append(s.Statements, echo.Statement{Identifier: id, Quote: id})
	}
	return s
}

// Coherent is a man of 178 cm and 80 kg whose numbers all come from one heart.
func Coherent() map[string]string {
	return map[string]string{
		"body-height": "178 cm", "body-weight": "80 kg", "body-surface-area": "1.98 m2", "heart-rate": "70 /min",
		"lvot-diameter": "2.10 cm", "lvot-velocity-time-integral": "20.0 cm", "stroke-volume-lvot": "69.3 mL", "cardiac-output-lvot": "4.85 L/min",
		"lvot-peak-velocity": "1.00 m/s", "aortic-valve-peak-velocity": "1.40 m/s", "aortic-valve-velocity-time-integral": "28.0 cm",
		"aortic-valve-area-continuity":                  "2.47 cm2",
		"left-ventricular-end-diastolic-volume-biplane": "112 mL", "left-ventricular-end-systolic-volume-biplane": "45 mL",
		"left-ventricular-ejection-fraction-biplane": "60 %",
		"rvot-diameter-distal":                       "2.30 cm", "rvot-velocity-time-integral": "16.5 cm",
		"tricuspid-regurgitation-peak-velocity": "2.40 m/s", "right-atrial-pressure": "3 mm[Hg]", "right-ventricular-systolic-pressure": "26 mm[Hg]", "rvot-acceleration-time": "130 ms",
	}
}
