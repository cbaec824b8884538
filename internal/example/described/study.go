// Package described owns the study that an example in a rule file describes.
package described

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"echotally/internal/answer"
	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/example/wall"
	"echotally/internal/library"
	"echotally/internal/measurand"
	"echotally/internal/rule"
	"echotally/internal/term"
	"echotally/internal/ucum"
)

// exampleAge is the age of a patient an example does not describe.
const exampleAge = 60

// Study builds the study of an example. A patient that is not described
// is a woman of 60 years.
func Study(set *library.Library, one *rule.Rule, ex rule.Example) (*echo.Study, error) {
	one.Prepare()
	age := float64(exampleAge)
	s := &echo.Study{StudyInstanceUID: "2.25.1", Subject: echo.Subject{PatientSex: "F", AgeYears: &age}}
	if p := ex.Subject; p != nil {
		s.Subject = echo.Subject{PatientSex: p.Sex}
		if p.Age != "" {
			years, err := p.Years()
			if err != nil {
				return nil, err
			}
			s.Subject.AgeYears = &years
		}
	}
	if ex.Document != nil {
		s.Documents = append(s.Documents, document(*ex.Document))
	}
	for _, of := range slices.Sorted(maps.Keys(ex.Differs)) {
		c := echo.Contradiction{Of: echo.Attribute(of), Within: echo.Extent(ex.Differs[of])}
		if !slices.Contains(echo.Attributes(), c.Of) || !slices.Contains(echo.Extents(), c.Within) {
			return nil, fmt.Errorf("differs: %s: %s: what or within what is not known; one of %v, within one of %v", of, ex.Differs[of], echo.Attributes(), echo.Extents())
		}
		s.Contradict(c)
	}
	for _, name := range slices.Sorted(maps.Keys(ex.Worded)) {
		var said echo.Measurement
		setValue(&said, nil, string(ex.Worded[name]))
		if said.Quantity == nil {
			return nil, fmt.Errorf("worded: %s: %q is no value", name, ex.Worded[name])
		}
		s.Worded = append(s.Worded, echo.Worded{Measurand: name, Low: *said.Quantity, High: *said.Quantity})
	}
	images(set, s, ex.Images)
	s.Measurements = measurements(set, one, ex.Given, "2.25.2")
	prior(set, one, s, ex.Prior)
	s.Segments = wall.Segments(set, ex.Segments)
	for i, names := range [][]string{ex.Stated, ex.Denied} {
		for _, n := range names {
			st := echo.Statement{Identifier: n, Negated: i == 1, Quote: n}
			if said, ok := one.Statements[n]; ok {
				st.Identifier = said.Definitions[0].Identifier
				if len(said.Views) > 0 {
					st.ImageView = modifierOf(set, term.ImageView, said.Views[0])
				}
			}
			s.Statements = append(s.Statements, st)
		}
	}
	return s, nil
}

func measurements(set *library.Library, one *rule.Rule, given map[string]rule.GivenValues, report string) []echo.Measurement {
	var out []echo.Measurement
	for _, name := range slices.Sorted(maps.Keys(given)) {
		for _, g := range given[name] {
			m := measurementOf(set, one, name, g)
			m.Source = echo.Source{SOPInstanceUID: report, Item: fmt.Sprintf("1.%d", len(out)+1)}
			if g.Duplicate && len(out) > 0 {
				before := out[len(out)-1].Source
				m.DuplicateOf = &before
			}
			m.Link = link(g)
			out = append(out, m)
			if g.ZScore != "" {
				out = append(out, zScore(g, m.Source))
			}
		}
	}
	return out
}

// yearBefore is how many days before its study an example's earlier study was,
// when it does not say.
const yearBefore = 365

func prior(set *library.Library, one *rule.Rule, s *echo.Study, p *rule.ExamplePrior) {
	if p == nil {
		return
	}
	today := time.Date(2026, time.March, 2, 0, 0, 0, 0, time.UTC)
	days := cmp.Or(p.Days, yearBefore)
	s.StudyDate = today.Format(answer.DateLayout)
	s.Prior = &echo.Prior{
		StudyDate: today.AddDate(0, 0, -days).Format(answer.DateLayout), BirthDate: echo.Agreement(cmp.Or(p.BirthDate, string(echo.Agrees))),
		PatientSex: cmp.Or(p.Sex, s.Subject.PatientSex), Measurements: measurements(set, one, p.Given, "2.25.3"),
	}
	if p.BirthDate == "unknown" {
		s.Prior.BirthDate = ""
	}
}

func document(d rule.ExampleDocument) echo.Document {
	out := echo.Document{SOPInstanceUID: "2.25.2", CompletionFlag: d.CompletionFlag, VerificationFlag: d.VerificationFlag, Partial: d.Partial}
	if d.Reader {
		out.Staff = []echo.Person{{Name: "Reader of the example", Task: echo.ReadIt}}
	}
	if d.Deviation != "" {
		out.Deviations = []echo.Deviation{{Item: "1", Clause: "example", Detail: d.Deviation}}
	}
	return out
}

// measurementOf builds one value. A value the record would have to
// complain of (unknown or impossible unit, no number) gets the same problem
// that reading a file would give it.
func measurementOf(set *library.Library, one *rule.Rule, name string, g rule.Given) echo.Measurement {
	m := echo.Measurement{Role: echo.Result, ConceptName: coding.CodedConcept{CodeValue: "example", CodingSchemeDesignator: "99EXAMPLE", CodeMeaning: name}}
	if g.Software != "" {
		m.Equipment = echo.Equipment{Manufacturer: "Maker of the example", SoftwareVersions: g.Software}
	}
	alias := one.Aliases[name]
	var what *measurand.Measurand
	switch {
	case g.Measurand != "":
		what = set.Measurands.Find(g.Measurand)
	case alias != nil:
		what = alias.Measurands[0]
	default:
		what = set.Measurands.Find(name)
	}
	if what != nil {
		m.Measurand, m.ConceptName.CodeMeaning = what.Identifier, what.Title
	}
	if alias != nil {
		for _, c := range alias.Conditions {
			if len(c.Codes) > 0 {
				setModifier(&m.Modifiers, c.Field, modifierOf(set, c.Field, c.Codes[0]))
			}
		}
	}
	for _, f := range g.Modifiers {
		if t := set.Terms.Find(f.Field, f.Names[0]); t != nil {
			setModifier(&m.Modifiers, f.Field, modifierOf(set, f.Field, t.Codes[0]))
		}
	}
	if g.Qualifier != "" {
		m.Qualifier = &coding.CodedConcept{CodeValue: "example", CodingSchemeDesignator: "99EXAMPLE", CodeMeaning: g.Qualifier}
	}
	text := string(g.Value)
	if text == rule.AnyValue && what != nil {
		text = "1 " + what.Unit.Code()
	}
	setValue(&m, what, text)
	return m
}

// zScore is the z-score that stands beside a value.
func zScore(g rule.Given, parent echo.Source) echo.Measurement {
	m := echo.Measurement{Role: echo.Statistic, ReferenceAuthority: g.ReferenceAuthority, Parent: &parent,
		ConceptName: answer.ScoreConcept(),
		Source:      echo.Source{SOPInstanceUID: parent.SOPInstanceUID, Item: parent.Item + ".1"}}
	setValue(&m, nil, string(g.ZScore))
	return m
}

func setValue(m *echo.Measurement, what *measurand.Measurand, text string) {
	number, unit, _ := strings.Cut(strings.TrimSpace(text), " ")
	unit = strings.TrimSpace(unit)
	problem := func(kind echo.ProblemKind, detail string) {
		m.Problems = append(m.Problems, echo.Problem{Kind: kind, Detail: detail})
	}
	m.ValueText = number
	if number == "" {
		problem(echo.NoValue, "")
		return
	}
	d, _, err := ucum.ParseDecimal(number)
	if err != nil {
		problem(echo.ValueNotNumber, number)
		return
	}
	if unit == "" {
		unit = "1"
	}
	m.Unit = coding.CodedConcept{CodeValue: unit, CodingSchemeDesignator: "UCUM", CodeMeaning: unit}
	u, alias, err := ucum.Recognize(unit, "UCUM", unit)
	if err != nil {
		problem(echo.UnitNotUnderstood, unit)
		return
	}
	if alias {
		problem(echo.UnitAlias, unit)
	}
	m.Quantity = &ucum.Quantity{Value: d, Unit: u}
	if what == nil {
		return
	}
	canonical, err := what.Canonical(*m.Quantity)
	if err != nil {
		problem(echo.UnitWrongDimension, unit)
		return
	}
	m.Canonical = &canonical
}

func modifierOf(set *library.Library, field term.Field, key coding.Key) *echo.Modifier {
	c := coding.CodedConcept{CodeValue: key.CodeValue, CodingSchemeDesignator: key.CodingSchemeDesignator}
	if t := set.Terms.Of(field, key); t != nil {
		c.CodeMeaning = t.Title
	}
	return &echo.Modifier{Concept: c, Written: c, Level: echo.ItemLevel}
}

func setModifier(m *echo.Modifiers, f term.Field, to *echo.Modifier) {
	*map[term.Field]**echo.Modifier{
		term.FindingSite: &m.FindingSite, term.TopographicalModifier: &m.TopographicalModifier, term.Laterality: &m.Laterality,
		term.ImageMode: &m.ImageMode, term.ImageView: &m.ImageView, term.FlowDirection: &m.FlowDirection,
		term.MeasurementMethod: &m.MeasurementMethod, term.CardiacCyclePoint: &m.CardiacCyclePoint,
		term.RespiratoryCyclePoint: &m.RespiratoryCyclePoint, term.Derivation: &m.Derivation, term.SelectionStatus: &m.SelectionStatus,
		term.MeasurementDivisor: &m.MeasurementDivisor, term.MeasuredProperty: &m.MeasuredProperty, term.MeasurementType: &m.MeasurementType,
		term.Stage: &m.Stage,
	}[f] = to
}
