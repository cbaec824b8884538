package audit

import (
	"reflect"
	"strings"
	"testing"
	"time"
)

// The example in the documentation says what holds without a file.
func TestSettingsExampleHoldsTheDefaults(t *testing.T) {
	want, got := Defaults(), Defaults()
	if err := got.ReadSettings("lab.yaml", []byte(SettingsExample)); err != nil {
		t.Fatal(err)
	}
	for i, m := range want.Headlines() {
		if share, ok := got.Targets[m.Identifier]; !ok || share != got.Headlines()[i].Target || share != m.Target {
			t.Errorf("%s: target %v, want %v", m.Identifier, share, m.Target)
		}
	}
	got.Targets = nil
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestReadSettings(t *testing.T) {
	o := Defaults()
	if err := o.ReadSettings("lab.yaml", []byte(`floor: 30
targets: {views-stated: 0.99}
standard: {outpatientDays: 2, holidays: [2026-12-25]}
`)); err != nil {
		t.Fatal(err)
	}
	if o.Floor != 30 || o.People != Defaults().People || o.Targets[Views] != 0.99 || o.Standard.OutpatientDays != 2 || o.Standard.InpatientHours != 24 {
		t.Errorf("got %+v", o)
	}
	// A study of a Thursday has two working days: Friday is a holiday, then comes
	// the weekend, so it is due when Tuesday ends.
	ended := time.Date(2026, 12, 24, 10, 0, 0, 0, time.UTC)
	if due := o.Standard.readBy("outpatient", ended); due.Format(time.DateOnly) != "2026-12-30" {
		t.Errorf("due %v", due)
	}
}

func TestSettingsFaults(t *testing.T) {
	for text, want := range map[string]string{
		"floors: 3":                                      "lab.yaml:1:1",
		"floor: 0":                                       "0 is too few",
		"people: 4":                                      "at least 5",
		"discovery: 0.9":                                 "out of range",
		"targets: {view-stated: 0.9}":                    `did you mean "views-stated"?`,
		"targets: {views-stated: 95}":                    "above 0, at most 1",
		"standard: {holidays: [25.12.2026]}":             "is no date",
		"standard: {signedHours: -1}":                    "-1 is out of range",
		"floor: many":                                    "lab.yaml:1:8",
		"floor: 5\nstandard: {signedHours: 0}":           "lab.yaml:2:",
		"learning: {acceptable: 0.2, unacceptable: 0.2}": "not below the unacceptable one",
		"learning: {alpha: 0}":                           "out of range",
	} {
		o := Defaults()
		err := o.ReadSettings("lab.yaml", []byte(text))
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}
