package coherence_test

import (
	"strings"
	"testing"

	"echotally/internal/coherence"
	"echotally/internal/judge"
	"echotally/internal/library"
	"echotally/internal/ruletest"

	"echotally/internal/echo"
	"echotally/internal/finding"
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

func reconciled(set *library.Library, s *echo.Study) *finding.Reconciliation {
	return judge.Study(set, s, judge.By{}).Reconciliation
}

func TestACoherentStudyHasNoSuspect(t *testing.T) {
	set := shipped(t)
	r := reconciled(set, ruletest.StudyOf(t, set, ruletest.Coherent()))
	if r == nil || r.Problem != "" {
		t.Fatalf("no reconciliation: %+v", r)
	}
	if r.Freedom < 4 || r.PValue < 0.05 || len(r.Suspects) != 0 || !r.Settled {
		t.Errorf("chi-square %.2f with %d degrees of freedom, p %.3f, suspects %+v", r.ChiSquare, r.Freedom, r.PValue, r.Suspects)
	}
}

// TestTheSuspectIsNamed spoils one number of the coherent study.
func TestTheSuspectIsNamed(t *testing.T) {
	set := shipped(t)
	for _, c := range []struct{ measurand, value string }{
		{"lvot-velocity-time-integral", "9.0 cm"},
		{"stroke-volume-lvot", "29.3 mL"},
		{"aortic-valve-velocity-time-integral", "56.0 cm"},
		{"left-ventricular-end-diastolic-volume-biplane", "312 mL"},
		{"body-weight", "176 kg"}, // a height of 81 cm is no answer; the area may as well be wrong
		{"rvot-velocity-time-integral", "45.0 cm"},
	} {
		values := ruletest.Coherent()
		values[c.measurand] = c.value
		r := reconciled(set, ruletest.StudyOf(t, set, values))
		if r == nil || len(r.Suspects) == 0 {
			t.Errorf("%s = %s: no suspect (%+v)", c.measurand, c.value, r)
			continue
		}
		var names []string
		for _, s := range r.Suspects[0] {
			names = append(names, s.Measurand)
		}
		if names[0] != c.measurand {
			t.Errorf("%s = %s: suspects %v", c.measurand, c.value, names)
		}
	}
}

func TestRelationsAreSetAsideWithTheReason(t *testing.T) {
	set := shipped(t)
	r := reconciled(set, ruletest.StudyOf(t, set, ruletest.Coherent(), "mitral-regurgitation-severe"))
	for _, u := range r.Relations {
		if u.Identifier == "lv-stroke-volume-by-volumes" {
			if !strings.Contains(u.Aside, "mitral-regurgitation-severe") {
				t.Errorf("with severe mitral regurgitation the volumes exceed the outflow: %+v", u)
			}
			return
		}
	}
	t.Error("the relation is not listed")
}

func TestBlameMarksResultsOfTheSuspect(t *testing.T) {
	set := shipped(t)
	values := ruletest.Coherent()
	values["stroke-volume-lvot"] = "29.3 mL"
	s := ruletest.StudyOf(t, set, values)
	results := []finding.Result{
		{About: &finding.About{Kind: finding.Consistency, Measurands: []string{"stroke-volume-lvot", "lvot-diameter"}}, Outcome: finding.Fail},
		{About: &finding.About{Kind: finding.Consistency, Measurands: []string{"stroke-volume-lvot"}}, Outcome: finding.Pass},
		{About: &finding.About{Kind: finding.Consistency, Measurands: []string{"heart-rate"}}, Outcome: finding.Fail},
	}
	coherence.Blame(results, reconciled(set, s))
	if results[0].Suspect != "stroke-volume-lvot" || results[1].Suspect != "" || results[2].Suspect != "" {
		t.Errorf("suspects %q %q %q", results[0].Suspect, results[1].Suspect, results[2].Suspect)
	}
}

// TestAResultThatFollowsAnotherIsNoWitness gives a gradient that misses its
// velocity and a pressure made of that gradient: they do not outvote the velocity.
func TestAResultThatFollowsAnotherIsNoWitness(t *testing.T) {
	set := shipped(t)
	r := reconciled(set, ruletest.StudyOf(t, set, map[string]string{
		"tricuspid-regurgitation-peak-velocity": "2.70 m/s", "tricuspid-regurgitation-peak-gradient": "41 mm[Hg]",
		"right-atrial-pressure": "3 mm[Hg]", "right-ventricular-systolic-pressure": "44 mm[Hg]",
	}))
	if r == nil || len(r.Suspects) == 0 {
		t.Fatalf("reconciliation %+v", r)
	}
	for _, s := range r.Suspects[0] {
		if s.Measurand == "tricuspid-regurgitation-peak-gradient" {
			return
		}
	}
	t.Errorf("suspects %+v, want the gradient among them", r.Suspects[0])
}

func named(round []finding.Suspect) string {
	var out []string
	for _, s := range round {
		out = append(out, s.Measurand)
	}
	return strings.Join(out, " ")
}

// TestWhatCannotBeIsSuspectedFirst has values that no heart has; the relations
// hardly depend on them there, and their neighbours are right.
func TestWhatCannotBeIsSuspectedFirst(t *testing.T) {
	set := shipped(t)
	for want, values := range map[string]map[string]string{
		"rvot-acceleration-time": {"rvot-acceleration-time": "0.128 ms", "tricuspid-regurgitation-peak-velocity": "2.41 m/s", "right-atrial-pressure": "3 mm[Hg]"},
		"interventricular-septum-thickness-diastole left-ventricular-internal-diameter-diastole": {"interventricular-septum-thickness-diastole": "53.7 mm",
			"left-ventricular-internal-diameter-diastole": "13.6 mm", "left-ventricular-posterior-wall-thickness-diastole": "13.5 mm", "left-ventricular-mass": "310 g",
			"left-ventricular-internal-diameter-systole": "37.2 mm", "left-ventricular-fractional-shortening": "31 %", "left-ventricular-ejection-fraction-teichholz": "58 %"},
	} {
		r := reconciled(set, ruletest.StudyOf(t, set, values))
		if r == nil || len(r.Suspects) == 0 {
			t.Errorf("no suspect, want %s (%+v)", want, r)
			continue
		}
		for _, one := range strings.Fields(want) {
			if got := named(r.Suspects[0]); !strings.Contains(got, one) {
				t.Errorf("suspects %s, want %s", got, want)
			}
		}
	}
}

// TestAnEditedInputIsNotBlamed changes a velocity a little after two results had
// been computed from it: it fits neither, and may be the one that is right.
func TestAnEditedInputIsNotBlamed(t *testing.T) {
	set := shipped(t)
	j := judge.Study(set, ruletest.StudyOf(t, set, map[string]string{
		"mitral-valve-e-wave-velocity": "0.84 m/s", "mitral-annular-velocity-e-prime-septal": "8.0 cm/s", "mitral-annular-velocity-e-prime-lateral": "10.0 cm/s",
		"mitral-e-to-e-prime-ratio-septal": "9.0 1", "mitral-e-to-e-prime-ratio-lateral": "7.2 1",
	}), judge.By{})
	if j.Reconciliation == nil || len(j.Reconciliation.Suspects) == 0 {
		t.Fatalf("reconciliation %+v", j.Reconciliation)
	}
	for _, r := range j.Results {
		if r.Suspect != "" {
			t.Errorf("%s blames %s", r.Rule, r.Suspect)
		}
	}
}

// TestTheFormThatNobodyUsedIsNoWitness writes a wrong mass that lies nearer to
// another formula: the index was made of the right one.
func TestTheFormThatNobodyUsedIsNoWitness(t *testing.T) {
	set := shipped(t)
	r := reconciled(set, ruletest.StudyOf(t, set, map[string]string{
		"interventricular-septum-thickness-diastole": "8.1 mm", "left-ventricular-internal-diameter-diastole": "70.0 mm", "left-ventricular-posterior-wall-thickness-diastole": "7.5 mm",
		"left-ventricular-mass": "305 g", "left-ventricular-mass-index": "150 g/m2", "body-surface-area": "1.59 m2",
	}))
	if r == nil || len(r.Suspects) == 0 || named(r.Suspects[0]) != "left-ventricular-mass" {
		t.Errorf("reconciliation %+v", r)
	}
}
