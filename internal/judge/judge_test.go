package judge_test

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"testing"

	"echotally/internal/finding"
	"echotally/internal/judge"
	"echotally/internal/ruletest"
)

// infinite gives the places of all numbers of a value that are none.
func infinite(v reflect.Value, path string) []string {
	var out []string
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			return infinite(v.Elem(), path)
		}
	case reflect.Slice:
		for i := range v.Len() {
			out = append(out, infinite(v.Index(i), fmt.Sprintf("%s[%d]", path, i))...)
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if f := v.Type().Field(i); f.Tag.Get("cbor") != "-" && f.IsExported() {
				out = append(out, infinite(v.Field(i), path+"."+f.Name)...)
			}
		}
	case reflect.Float64:
		if x := v.Float(); math.IsNaN(x) || math.IsInf(x, 0) {
			return []string{path}
		}
	}
	return out
}

// No kept number is infinite or none, whatever the others imply of a suspect;
// where they set no bound there is none.
func TestKeptNumbersAreFinite(t *testing.T) {
	lib := ruletest.Load(t)
	j := judge.New(lib)
	suspects, unbounded := 0, 0
	for _, spoiled := range [][2]string{
		// The pressure of the jet alone: the others imply an atrial pressure of next to nothing, on the log scale without a bound.
		{"tricuspid-regurgitation-peak-velocity", "2.5495 m/s"},
		{"stroke-volume-lvot", "29.3 mL"}, {"body-weight", "176 kg"}, {"left-ventricular-ejection-fraction-biplane", "20 %"}, {"right-ventricular-systolic-pressure", "90 mm[Hg]"},
		{"right-atrial-pressure", "60 mm[Hg]"}, {"tricuspid-regurgitation-peak-velocity", "0.5 m/s"}, {"left-ventricular-end-systolic-volume-biplane", "160 mL"}, {"heart-rate", "700 /min"},
	} {
		values := ruletest.Coherent()
		values[spoiled[0]] = spoiled[1]
		if spoiled[1] == "2.5495 m/s" {
			values["right-atrial-pressure"] = "15 mm[Hg]"
		}
		got := j.Study(ruletest.StudyOf(t, lib, values), judge.By{})
		for _, place := range infinite(reflect.ValueOf(got), "judgement") {
			t.Errorf("%s of %s: %s", spoiled[0], spoiled[1], place)
		}
		if _, err := json.Marshal(got.Reconciliation); err != nil {
			t.Error(err)
		}
		if got.Reconciliation == nil {
			continue
		}
		for _, round := range got.Reconciliation.Suspects {
			suspects += len(round)
			for _, s := range round {
				if s.Low == nil || s.High == nil {
					unbounded++
				}
			}
		}
	}
	if suspects < 5 || unbounded == 0 {
		t.Errorf("%d suspects, %d of them without a bound: little was shown", suspects, unbounded)
	}
	if finding.Bound(math.Inf(1)) != nil || finding.Bound(math.NaN()) != nil || *finding.Bound(2) != 2 {
		t.Error("bounds")
	}
}

// A study is judged alike however often and after whatever other study.
func TestJudgedAlikeAgain(t *testing.T) {
	lib := ruletest.Load(t)
	values := ruletest.Coherent()
	values["body-weight"] = "176 kg"
	study := ruletest.StudyOf(t, lib, values)
	j := judge.New(lib)
	first := j.Study(study, judge.By{SoftwareVersion: "1"})
	j.Study(ruletest.StudyOf(t, lib, ruletest.Coherent()), judge.By{})
	if again := j.Study(study, judge.By{SoftwareVersion: "1"}); !reflect.DeepEqual(first, again) {
		t.Error("the second judgement differs")
	}
	if n := len(first.Results) + len(first.NotApplicable); n != len(lib.Rules) || first.Library.Rules != n {
		t.Errorf("%d of %d rules are in the judgement", n, len(lib.Rules))
	}
}
