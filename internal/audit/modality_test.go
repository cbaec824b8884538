package audit_test

import (
	"fmt"
	"testing"

	"echotally/internal/audit"
	"echotally/internal/calendar"
	"echotally/internal/casemix"
	"echotally/internal/coding"
	"echotally/internal/counted"
	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/reduction"
)

func viewed(code string) *echo.Modifier {
	return &echo.Modifier{Concept: coding.CodedConcept{CodeValue: code, CodingSchemeDesignator: "SCT"}}
}

// The modality is what the reports state, else what the views tell, else it is
// not recorded; a denied statement tells nothing.
func TestModality(t *testing.T) {
	set := ruleSet(t)
	says := func(identifiers ...string) []echo.Statement {
		var out []echo.Statement
		for _, id := range identifiers {
			out = append(out, echo.Statement{Identifier: id})
		}
		return out
	}
	apical, oesophageal, open := "399214001", "443698002", "103340004"
	for _, one := range []struct {
		name, want string
		statements []echo.Statement
		view       string
	}{
		{"nothing", "", nil, ""},
		{"stated", "transoesophageal", says("transoesophageal-study"), ""},
		{"two stated", "stress, transthoracic", says("transthoracic-study", "stress-study"), ""},
		{"stated against the view", "intracardiac", says("intracardiac-study"), apical},
		{"denied", "", []echo.Statement{{Identifier: "stress-study", Negated: true}}, ""},
		{"apical view", "transthoracic", nil, apical},
		{"oesophageal view", "transoesophageal", nil, oesophageal},
		{"a view of any modality", "", says("sinus-rhythm"), open},
	} {
		s := &echo.Study{StudyDate: "20261005", Statements: one.statements}
		if one.view != "" {
			s.Measurements = []echo.Measurement{{Role: echo.Result, Modifiers: echo.Modifiers{ImageView: viewed(one.view)}}}
		}
		got := reduction.NewReducer(set).Reduce(s, finding.Protocols{}, nil, nil)
		if got.Medium.Modality != one.want {
			t.Errorf("%s: %q, want %q", one.name, got.Medium.Modality, one.want)
		}
	}
	images := &echo.Study{Images: []echo.Image{{TransducerType: "SECTOR_PHASED"}, {TransducerType: "LINEAR"}, {TransducerType: "SECTOR_PHASED"}, {}}}
	images.Images[3].View = &echo.ImageView{Concept: viewed(apical).Concept}
	if got := reduction.NewReducer(set).Reduce(images, finding.Protocols{}, nil, nil).Medium; got.Modality != "transthoracic" || fmt.Sprint(got.Transducers) != "[LINEAR SECTOR_PHASED]" {
		t.Errorf("images: %+v", got)
	}
}

// Every study counts once by modality and once by what was received, and what
// is not recorded has its row, also when it is none.
func TestVolumesByModality(t *testing.T) {
	opt := audit.Defaults()
	opt.Period, _ = calendar.Month("2026-10")
	studies := make([]counted.Study, 5)
	for i := range studies {
		studies[i] = counted.Study{UID: fmt.Sprint(i), Date: day("2026-10-05"), Protocol: "comprehensive"}
	}
	studies[0].Medium = casemix.Medium{Modality: "stress", Transducers: []string{"LINEAR", "SECTOR_PHASED"}}
	studies[1].Medium, studies[1].Images = casemix.Medium{Modality: "stress", Transducers: []string{"LINEAR"}}, 4
	studies[2].Unread, studies[3].Unread, studies[3].Images = true, true, 2
	counts := func() map[string]int {
		out := map[string]int{}
		for _, table := range audit.Build(studies, opt).Tables {
			if table.Identifier == "volumes" {
				for _, row := range table.Rows {
					out[row[0].Text+" "+row[1].Text] = row[2].Count
				}
			}
		}
		return out
	}
	got := counts()
	for name, want := range map[string]int{
		"modality stress": 2, "modality (not recorded)": 3, "transducer LINEAR": 2, "transducer SECTOR_PHASED": 1, "transducer (not recorded)": 3,
		"received report only": 2, "received report and images": 1, "received no readable report": 1, "received images, no readable report": 1,
	} {
		if got[name] != want {
			t.Errorf("%s: %d, want %d of %v", name, got[name], want, got)
		}
	}
	for i := range studies {
		studies[i].Medium = casemix.Medium{Modality: "transthoracic", Transducers: []string{"LINEAR"}}
	}
	if n, told := counts()["modality (not recorded)"]; !told || n != 0 {
		t.Errorf("what is not recorded has no row when it is none: %v", counts())
	}
}
