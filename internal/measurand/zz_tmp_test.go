package measurand_test

import (
	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/term"
	"echotally/rules"
	"encoding/csv"
	"fmt"
	"os"
	"strings"
	"testing"
)

func TestTmpLoad(t *testing.T) {
	terms, err := term.Load(rules.FS)
	if err != nil {
		t.Error(err)
	}
	c, err := measurand.Load(terms, rules.FS)
	if err != nil {
		t.Log(err)
	}
	site := map[string]string{"N.3.1": "15825003", "N.3.2": "34202007", "N.3.3": "87878005", "N.3.4": "87878005", "N.3.5": "87878005", "N.3.6": "87878005", "N.3.7": "87878005", "N.3.8": "87878005", "N.3.9": "91134007", "N.3.10": "122972007", "N.3.11": "82471001", "N.3.12": "53085002", "N.3.13": "39057004", "N.3.14": "46030003", "N.3.15": "73829009", "N.3.16": "9904008"}
	read := func(p string) [][]string {
		f, _ := os.Open(p)
		r, e := csv.NewReader(f).ReadAll()
		if e != nil {
			t.Fatal(e)
		}
		return r[1:]
	}
	mod := func(s, v string) *echo.Modifier {
		return &echo.Modifier{Concept: coding.CodedConcept{CodingSchemeDesignator: s, CodeValue: v}}
	}
	set := func(m *echo.Modifiers, name string, v *echo.Modifier) {
		switch name {
		case "SCT:260674002":
			m.FlowDirection = v
		case "SCT:363698007":
			m.FindingSite = v
		case "SCT:370129005":
			m.MeasurementMethod = v
		case "SCT:399264008":
			m.ImageMode = v
		case "DCM:111031", "DCM:1110321":
			m.ImageView = v
		case "SCT:272518008":
			m.CardiacCyclePoint = v
		case "SCT:272517003":
			m.RespiratoryCyclePoint = v
		case "SCT:106233006":
			m.TopographicalModifier = v
		default:
			panic(name)
		}
	}
	for _, r := range read("/work/shared/standard/ase_mapping.csv") {
		m := &echo.Measurement{ConceptName: coding.CodedConcept{CodingSchemeDesignator: r[3], CodeValue: r[4]}}
		s := mod("SCT", site[r[0]])
		m.SectionSite = s
		m.Modifiers.FindingSite = s
		for _, p := range strings.Split(r[6], "; ") {
			if p == "" {
				continue
			}
			kv := strings.Split(p, "=")
			sv := strings.Split(kv[1], ":")
			set(&m.Modifiers, kv[0], mod(sv[0], sv[1]))
		}
		got := c.Name(m)
		n := "-"
		if got != nil {
			n = got.Identifier
		}
		fmt.Printf("A|%s|%s|%s\n", r[0], r[2], n)
	}
	for _, r := range read("/work/shared/standard/contextgroups.csv") {
		if r[0] != "12300" {
			continue
		}
		m := &echo.Measurement{ConceptName: coding.CodedConcept{CodingSchemeDesignator: r[2], CodeValue: r[3]}}
		got := c.Name(m)
		n := "-"
		if got != nil {
			n = got.Identifier
		}
		fmt.Printf("B|%s:%s|%s|%s\n", r[2], r[3], r[4], n)
	}
}
