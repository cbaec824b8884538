package slip_test

import (
	"slices"
	"testing"

	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/library"
	"echotally/internal/ruletest"
	"echotally/rules"
)

// shipped are the rules in force.
func shipped(t *testing.T) *library.Library {
	t.Helper()
	set, err := library.Load(library.Settings{}, rules.FS)
	if err != nil {
		t.Fatal(err)
	}
	return set
}

// explained judges a study of the values and gives the first two causes of the
// failed consistency results that rest on a measurand.
func explained(t *testing.T, values map[string]string, measurand string) []finding.Hypothesis {
	t.Helper()
	set := shipped(t)
	s := ruletest.StudyOf(t, set, values)
	age := 55.0
	s.Subject.AgeYears, s.Subject.PatientSex = &age, "M"
	var out []finding.Hypothesis
	for _, r := range judge.Study(set, s, judge.By{}).Results {
		if r.Kind == finding.Consistency && r.Outcome == finding.Fail && slices.Contains(r.Measurands, measurand) {
			out = append(out, r.Causes[:min(2, len(r.Causes))]...)
		}
	}
	return out
}

func has(causes []finding.Hypothesis, kind, measurand string) bool {
	return slices.ContainsFunc(causes, func(h finding.Hypothesis) bool { return h.Identifier == kind && h.Measurand == measurand })
}

// TestASlipBeforeTheScannerComputed lets every result follow the wrong number:
// no recomputation fails, only what the results are compared with.
func TestASlipBeforeTheScannerComputed(t *testing.T) {
	values := ruletest.Coherent()
	values["lvot-diameter"] = "1.05 cm" // the radius
	values["stroke-volume-lvot"] = "17.3 mL"
	values["cardiac-output-lvot"] = "1.21 L/min"
	values["aortic-valve-area-continuity"] = "0.62 cm2"
	if causes := explained(t, values, "lvot-diameter"); !has(causes, "radius-for-diameter", "lvot-diameter") {
		t.Errorf("causes %+v", causes)
	}
}

// TestTheSlipThatMendsMostComesFirst writes one velocity in the wrong unit: each
// of three results could be explained by itself, but one slip explains them all.
func TestTheSlipThatMendsMostComesFirst(t *testing.T) {
	values := map[string]string{
		"mitral-valve-e-wave-velocity": "72 m/s", "mitral-valve-a-wave-velocity": "0.60 m/s", "mitral-valve-e-to-a-ratio": "1.20 1",
		"mitral-annular-velocity-e-prime-septal": "8.0 cm/s", "mitral-annular-velocity-e-prime-lateral": "10.0 cm/s",
		"mitral-e-to-e-prime-ratio-septal": "9.0 1", "mitral-e-to-e-prime-ratio-lateral": "7.2 1",
	}
	causes := explained(t, values, "mitral-valve-e-wave-velocity")
	if len(causes) == 0 || causes[0].Identifier != "unit-slip" || causes[0].Measurand != "mitral-valve-e-wave-velocity" {
		t.Errorf("causes %+v", causes)
	}
}

// TestAnExchangeAcrossRulesIsSeen exchanges two sites that no one rule compares.
func TestAnExchangeAcrossRulesIsSeen(t *testing.T) {
	values := map[string]string{
		"mitral-valve-e-wave-velocity": "0.72 m/s", "mitral-annular-velocity-e-prime-septal": "12.0 cm/s", "mitral-annular-velocity-e-prime-lateral": "8.0 cm/s",
		"mitral-e-to-e-prime-ratio-septal": "9.0 1", "mitral-e-to-e-prime-ratio-lateral": "6.0 1",
	}
	if causes := explained(t, values, "mitral-annular-velocity-e-prime-septal"); !has(causes, "exchanged", "mitral-annular-velocity-e-prime-septal") {
		t.Errorf("causes %+v", causes)
	}
}

// TestAResultKeptFromBeforeAnEdit changes an input a little: two results that
// agree on the older one tell of it, a single one tells nothing.
func TestAResultKeptFromBeforeAnEdit(t *testing.T) {
	values := ruletest.Coherent()
	values["aortic-valve-velocity-time-integral"] = "31.7 cm"
	if causes := explained(t, values, "aortic-valve-velocity-time-integral"); has(causes, "kept-after-edit", "aortic-valve-velocity-time-integral") {
		t.Errorf("one result alone: causes %+v", causes)
	}
	values = map[string]string{
		"mitral-valve-e-wave-velocity": "0.84 m/s", "mitral-annular-velocity-e-prime-septal": "8.0 cm/s", "mitral-annular-velocity-e-prime-lateral": "10.0 cm/s",
		"mitral-e-to-e-prime-ratio-septal": "9.0 1", "mitral-e-to-e-prime-ratio-lateral": "7.2 1",
	}
	if causes := explained(t, values, "mitral-valve-e-wave-velocity"); !has(causes, "kept-after-edit", "mitral-valve-e-wave-velocity") {
		t.Errorf("two results that agree: causes %+v", causes)
	}
}

// TestAWrongNumberHasNoCause writes results that are wrong for no reason.
func TestAWrongNumberHasNoCause(t *testing.T) {
	values := ruletest.Coherent()
	values["aortic-valve-area-continuity"] = "1.43 cm2"
	if causes := explained(t, values, "aortic-valve-area-continuity"); len(causes) > 0 {
		t.Errorf("causes %+v", causes)
	}
}

// TestWhatAWrongNumberWouldAlsoGiveIsNoCause has numbers that are wrong for no
// reason, where some slip would make the one or the other relation hold.
func TestWhatAWrongNumberWouldAlsoGiveIsNoCause(t *testing.T) {
	for title, c := range map[string]struct {
		values  map[string]string
		subject string
	}{
		"an order that little turns round": {map[string]string{"lvot-velocity-time-integral": "17.7 cm", "aortic-valve-velocity-time-integral": "13.6 cm"}, "lvot-velocity-time-integral"},
		"an order, and a computation that the exchange leaves failed": {map[string]string{"left-ventricular-internal-diameter-diastole": "57.6 mm",
			"left-ventricular-internal-diameter-systole": "64.6 mm", "left-ventricular-fractional-shortening": "12 %", "left-ventricular-ejection-fraction-teichholz": "26 %"},
			"left-ventricular-internal-diameter-diastole"},
		"about the same by another method": {map[string]string{"left-ventricular-end-diastolic-volume-biplane": "77 mL", "left-ventricular-end-systolic-volume-biplane": "28 mL",
			"left-ventricular-ejection-fraction-biplane": "86 %", "left-ventricular-ejection-fraction-teichholz": "63 %"}, "left-ventricular-ejection-fraction-biplane"},
		"the same digits by chance": {map[string]string{"right-ventricular-area-diastole": "16.2 cm2", "right-ventricular-area-systole": "9.7 cm2", "right-ventricular-fractional-area-change": "32 %",
			"left-atrial-area-two-chamber": "16.2 cm2", "left-atrial-area-four-chamber": "17.8 cm2", "right-atrial-area": "15.1 cm2"}, "right-ventricular-area-diastole"},
		"two results that follow from each other": {map[string]string{"lvot-diameter": "2.22 cm", "lvot-velocity-time-integral": "11.4 cm", "aortic-valve-velocity-time-integral": "17.5 cm",
			"stroke-volume-lvot": "59 mL", "aortic-valve-area-continuity": "3.38 cm2"}, "lvot-diameter"},
		"a mass as without the factor 0.8, but its index is of the right one": {map[string]string{"interventricular-septum-thickness-diastole": "0.90 cm",
			"left-ventricular-internal-diameter-diastole": "4.80 cm", "left-ventricular-posterior-wall-thickness-diastole": "0.90 cm", "left-ventricular-mass": "185 g",
			"body-surface-area": "1.85 m2", "left-ventricular-mass-index": "80 g/m2"}, "left-ventricular-mass"},
		"a pressure that counts the atrium twice within its rounding": {map[string]string{"tricuspid-regurgitation-peak-velocity": "3.00 m/s", "right-atrial-pressure": "8 mm[Hg]",
			"right-ventricular-systolic-pressure": "52 mm[Hg]"}, "right-ventricular-systolic-pressure"},
	} {
		t.Run(title, func(t *testing.T) {
			if causes := explained(t, c.values, c.subject); len(causes) > 0 {
				t.Errorf("causes %+v", causes)
			}
		})
	}
}

// TestTheNumberOfItsNeighbour enters an integral in the field of the velocity.
func TestTheNumberOfItsNeighbour(t *testing.T) {
	values := map[string]string{"lvot-peak-velocity": "20.3 m/s", "lvot-velocity-time-integral": "20.3 cm", "aortic-valve-peak-velocity": "1.22 m/s"}
	causes := explained(t, values, "lvot-peak-velocity")
	if len(causes) == 0 || causes[0].Identifier != "copied" {
		t.Errorf("causes %+v", causes)
	}
}

// TestTwoThatCannotBeAreExchanged has a septum as wide as a cavity, and a cavity
// as narrow as a septum.
func TestTwoThatCannotBeAreExchanged(t *testing.T) {
	values := map[string]string{"interventricular-septum-thickness-diastole": "52 mm", "left-ventricular-internal-diameter-diastole": "9.1 mm"}
	if causes := explained(t, values, "interventricular-septum-thickness-diastole"); !has(causes, "exchanged", "interventricular-septum-thickness-diastole") {
		t.Errorf("causes %+v", causes)
	}
}

// TestTheNumberThatTheArithmeticContradictsIsNamed changes one wave by less than
// its readings vary; three results computed from the old one give it away.
func TestTheNumberThatTheArithmeticContradictsIsNamed(t *testing.T) {
	set := shipped(t)
	values := map[string]string{
		"mitral-valve-e-wave-velocity": "0.84 m/s", "mitral-valve-a-wave-velocity": "0.60 m/s", "mitral-valve-e-to-a-ratio": "1.20 1",
		"mitral-annular-velocity-e-prime-septal": "8.0 cm/s", "mitral-annular-velocity-e-prime-lateral": "10.0 cm/s",
		"mitral-e-to-e-prime-ratio-septal": "9.0 1", "mitral-e-to-e-prime-ratio-lateral": "7.2 1",
	}
	r := judge.Study(set, ruletest.StudyOf(t, set, values), judge.By{}).Reconciliation
	if r == nil || len(r.Suspects) == 0 || len(r.Suspects[0]) != 1 || r.Suspects[0][0].Measurand != "mitral-valve-e-wave-velocity" {
		t.Fatalf("reconciliation %+v", r)
	}
	if s := r.Suspects[0][0]; s.Low == nil || s.High == nil || *s.Low > 72 || *s.High < 72 {
		t.Errorf("implied %+v, want 72 cm/s within", s)
	}
	values["mitral-valve-e-wave-velocity"] = "0.72 m/s"
	if r := judge.Study(set, ruletest.StudyOf(t, set, values), judge.By{}).Reconciliation; r != nil && len(r.Suspects) > 0 {
		t.Errorf("numbers that belong together are suspected: %+v", r.Suspects)
	}
}
