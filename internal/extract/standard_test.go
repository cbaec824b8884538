package extract_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"echotally/internal/dcm"
	"echotally/internal/dcmtest"
	"echotally/internal/echo"
	"echotally/internal/extract"
	"echotally/internal/sr"
	"echotally/internal/srtest"
)

// printed is a NUM item of the standard's examples as printed, with the
// modifiers nested below it.
type printed struct {
	name, value string
	modifiers   map[string]string // name to value, both letters only
}

// number matches a printed value: "39 years", "54.8%", "1.35".
var number = regexp.MustCompile(`^-?[0-9.]+`)

// printedExamples reads the rows of PS3.17 N.4 and CCCC.5.
func printedExamples(t *testing.T) map[string][]printed {
	t.Helper()
	f, err := os.Open(filepath.Join("testdata", "ps3.17_examples.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string][]printed{}
	depth := 0 // of the NUM item last seen
	for _, row := range rows[1:] {
		section, nest, valueType, name, value := row[0], len(row[2]), row[4], row[5], row[6]
		list := out[section]
		isNumber := valueType == "NUM" || valueType == "" && number.MatchString(value) && name != "Acquisition Protocol" && name != "Image Mode" && name != "Assessment Scale"
		switch {
		case isNumber:
			depth = nest
			out[section] = append(list, printed{letters(meaning(name)), number.FindString(value), map[string]string{}})
		case len(list) > 0 && nest > depth && value != "" && name != "…":
			list[len(list)-1].modifiers[letters(meaning(name))] = letters(meaning(value))
		default:
			depth = 99
		}
	}
	return out
}

// meaning takes the code meaning out of a printed triplet.
func meaning(s string) string {
	if parts := strings.Split(s, `"`); strings.HasPrefix(s, "(") && len(parts) > 1 {
		return parts[1]
	}
	return s
}

// letters drops what line-wrapping put into the printed names.
func letters(s string) string {
	return strings.ToLower(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, s))
}

// standardReports builds the examples as objects and reads them back through
// the file format.
func standardReports(t *testing.T) map[string]*sr.Document {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", "ps3.17_n4.txt"))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]*sr.Document{}
	for _, part := range strings.Split(string(text), "\n== ")[1:] {
		section, body, _ := strings.Cut(part, "\n")
		file, err := dcm.ReadBytes(dcmtest.Encode(srtest.Report(t, body), dcmtest.Encoding{}))
		if err != nil {
			t.Fatal(err)
		}
		doc, err := sr.Parse(file)
		if err != nil {
			t.Fatal(err)
		}
		out[section] = doc
	}
	return out
}

// The examples of PS3.17 N.4.1 to N.4.6 and CCCC.5 read back value for value.
func TestExamplesOfTheStandard(t *testing.T) {
	examples := printedExamples(t)
	for section, doc := range standardReports(t) {
		t.Run(section, func(t *testing.T) {
			list := extract.Measurements(doc, extract.Catalogues{})
			want := examples[section]
			if len(list) != len(want) || len(want) == 0 {
				t.Fatalf("%d measurements, the standard prints %d", len(list), len(want))
			}
			for i, p := range want {
				if got := letters(list[i].ConceptName.CodeMeaning); got != p.name || list[i].ValueText != p.value {
					t.Errorf("item %d: %s = %s, the standard prints %s = %s", i, got, list[i].ValueText, p.name, p.value)
				}
				if list[i].Quantity == nil {
					t.Errorf("item %d: %s: no quantity: %v", i, p.name, list[i].Problems)
				}
				for name, value := range p.modifiers {
					if got := modifierCalled(list[i], name); got != value {
						t.Errorf("item %d: %s: %s is %q, the standard prints %q", i, p.name, name, got, value)
					}
				}
			}
		})
	}
}

// modifierCalled finds a modifier by the name the standard prints.
func modifierCalled(m echo.Measurement, name string) string {
	mods := map[string]*echo.Modifier{
		"imagemode": m.Modifiers.ImageMode, "derivation": m.Modifiers.Derivation, "measurementmethod": m.Modifiers.MeasurementMethod,
		"assessmentscale": m.Modifiers.MeasurementMethod, "findingsite": m.Modifiers.FindingSite, "anatomicsite": m.Modifiers.FindingSite,
		"index": m.Modifiers.MeasurementDivisor, "measurementdivisor": m.Modifiers.MeasurementDivisor,
		"measurementtype": m.Modifiers.MeasurementType, "findingobservationtype": m.Modifiers.FindingObservationType,
		"measuredproperty": m.Modifiers.MeasuredProperty, "cardiaccyclepoint": m.Modifiers.CardiacCyclePoint,
		"selectionstatus": m.Modifiers.SelectionStatus,
	}
	if name == "shortlabel" {
		return letters(m.ShortLabel)
	}
	if name == "bodysurfaceareaformula" && len(m.Other) == 1 {
		return "code" + m.Other[0].Value.CodeValue
	}
	if mod := mods[name]; mod != nil {
		return letters(mod.Written.CodeMeaning)
	}
	return ""
}

func TestAdHocIsMarked(t *testing.T) {
	list := extract.Measurements(standardReports(t)["CCCC.5"], extract.Catalogues{})
	for i, m := range list {
		if want := i >= len(list)-2; m.AdHoc != want {
			t.Errorf("%s: ad hoc %t", m.ConceptName, m.AdHoc)
		}
	}
}
