package extract_test

import (
	"slices"
	"strings"
	"testing"

	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

// said lists what a report says, "-" before what it denies; what is implied by an
// opposite is left out.
func said(t *testing.T, tree string) (out []string, s *echo.Study) {
	t.Helper()
	s = extract.Study([]*sr.Document{srtest.Document(t, tree)}, catalogues(t))
	for _, st := range s.Statements {
		text := st.Identifier
		if st.Negated {
			text = "-" + text
		}
		if !strings.HasPrefix(text, "-") || !strings.HasSuffix(text, "-absent") {
			out = append(out, text)
		}
	}
	return out, s
}

// A finding is read with its severity, site and certainty, whichever scheme they
// are coded in and whether the severity is a code, a number or a word.
func TestFindingsWithWhatQualifiesThem(t *testing.T) {
	const mr = "contains code DCM:121071 \"Finding\" = SCT:48724000 \"Mitral regurgitation\"\n"
	severity := func(value string) string { return mr + "    props code SCT:246112005 \"Severity\" = " + value + "\n" }
	number := func(value, name string) string {
		return mr + "    props num SCT:246112005 \"" + name + "\" = " + value + " 1\n"
	}
	certainty := func(value string) string { return mr + "    props code SCT:246103008 \"Certainty\" = " + value + "\n" }
	for name, tt := range map[string]struct{ tree, want string }{
		"moderate":            {severity(`SCT:6736007 "Moderate"`), "mitral-regurgitation mitral-regurgitation-moderate"},
		"of the older scheme": {mr + "    props code SRT:G-C197 \"Severity\" = SRT:G-A003 \"Severe\"\n", "mitral-regurgitation mitral-regurgitation-severe"},
		"a private word":      {severity(`99LAB:7 "Moderate"`), "mitral-regurgitation mitral-regurgitation-moderate"},
		"none":                {severity(`SCT:260413007 "None"`), "-mitral-regurgitation mitral-regurgitation-absent"},
		"in words":            {mr + "    props text SCT:246112005 \"Severity\" = moderate to severe\n", "mitral-regurgitation mitral-regurgitation-moderate-to-severe"},
		"in parts of four":    {mr + "    props text SCT:246112005 \"Severity\" = 3/4\n", "mitral-regurgitation mitral-regurgitation-moderate-to-severe"},
		"number of three":     {number("3", "Severity, grade of 3"), "mitral-regurgitation mitral-regurgitation-severe"},
		"number of four":      {number("3", "Severity/4"), "mitral-regurgitation mitral-regurgitation-moderate-to-severe"},
		"number of nothing":   {number("2", "Severity"), "mitral-regurgitation mitral-regurgitation-moderate"},
		"between two":         {number("1.5", "Severity"), "mitral-regurgitation mitral-regurgitation-mild-to-moderate"},
		"nought":              {number("0", "Severity"), "-mitral-regurgitation mitral-regurgitation-absent"},
		"no grade":            {number("37", "Severity"), "mitral-regurgitation"},
		"confirmed":           {certainty(`SCT:410605003 "Confirmed present"`), "mitral-regurgitation"},
		"suspected":           {certainty(`SCT:415684004 "Suspected"`), ""},
		"undetermined":        {certainty(`SCT:373068000 "Undetermined"`), ""},
		"ruled out":           {certainty(`SCT:410516002 "Known absent"`), "-mitral-regurgitation mitral-regurgitation-absent"},
		"told by its site": {"contains code DCM:121071 = SCT:10337008 \"Regurgitation\"\n    mod code SCT:363698007 = SCT:39057004 \"Pulmonic valve\"\n" +
			"    props code SCT:246112005 = SCT:24484000 \"Severe\"\n", "pulmonary-regurgitation pulmonary-regurgitation-severe"},
		"of no site":            {"contains code DCM:121071 = SCT:10337008 \"Regurgitation\"\n", ""},
		"number under its name": {"contains num SCT:48724000 \"Mitral regurgitation\" = 2 1\n", "mitral-regurgitation mitral-regurgitation-moderate"},
		"atrial fibrillation":   {"contains code LN:8884-9 \"Cardiac Rhythm\" = MDC:10:9472 \"Atrial fibrillation\"\n", "atrial-fibrillation"},
	} {
		t.Run(name, func(t *testing.T) {
			got, s := said(t, "container DCM:125200\n  "+tt.tree)
			slices.Sort(got)
			if strings.Join(got, " ") != tt.want {
				t.Errorf("got  %v\nwant %s", got, tt.want)
			}
			for _, m := range s.Measurements {
				if name != "no grade" && m.Role != echo.Grade {
					t.Errorf("the grade is taken for a %s", m.Role)
				}
			}
		})
	}
}

// Of the study's description and procedure only the kind of study counts.
func TestKindOfStudyFromTheDescription(t *testing.T) {
	for text, want := range map[string]string{
		"Limited transthoracic echo":                                 "limited-study transthoracic-study",
		"Transthoracic echocardiogram, comprehensive":                "comprehensive-study transthoracic-study",
		"Transthorakale Echokardiographie, vollständig":              "comprehensive-study transthoracic-study",
		"Eingeschränkte Echokardiographie, gezielte Fragestellung":   "limited-study",
		"Échocardiographie transthoracique, complète":                "comprehensive-study transthoracic-study",
		"Échocardiographie limitée, contrôle ciblé":                  "limited-study",
		"Echo, atrial fibrillation, severe mitral regurgitation":     "",
		"Echokardiographie bei Vorhofflimmern, Aortenklappenstenose": "",
	} {
		got, _ := said(t, "header 00081030 = "+text+"\ncontainer DCM:125200\n  contains text DCM:121106 = .\n")
		slices.Sort(got)
		if strings.Join(got, " ") != want {
			t.Errorf("%s: got %v, want %s", text, got, want)
		}
	}
}

// A comment beside an empty value is its reason, one beside a value is not.
func TestReasonBesideAnEmptyValue(t *testing.T) {
	got, s := said(t, `
container DCM:125200
  contains num LN:80080-5 "RVD1" =
    props text DCM:121106 "Comment" = lateral wall behind the sternum
  contains num LN:80085-4 "RVD2" = 30 mm
    props text DCM:121106 "Comment" = oblique
`)
	if !slices.Equal(got, []string{"reason-recorded"}) || s.Statements[0].Measurement == nil || s.Statements[0].Measurement.Item != "1.1" {
		t.Errorf("%v", s.Statements)
	}
}
