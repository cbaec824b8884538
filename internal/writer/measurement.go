package writer

import (
	"encoding/json"
	"math"
	"math/big"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/measurand"
	"echotally/internal/run"
	"echotally/internal/ucum"
)

// measurementRecord is one NUM item as machines get it. Schema file:
// schema/measurement.schema.json.
type measurementRecord struct {
	SchemaVersion    string `json:"schemaVersion,omitempty"`
	StudyInstanceUID string `json:"studyInstanceUID"`
	SOPInstanceUID   string `json:"sopInstanceUID"`
	Item             string `json:"item"`

	ConceptName code     `json:"conceptName"`
	Value       *float64 `json:"value"`
	ValueText   string   `json:"valueText"`
	Unit        string   `json:"unit"`
	Qualifier   *code    `json:"qualifier,omitempty"`

	FindingSite           *code `json:"findingSite,omitempty"`
	TopographicalModifier *code `json:"topographicalModifier,omitempty"`
	Laterality            *code `json:"laterality,omitempty"`
	ImageMode             *code `json:"imageMode,omitempty"`
	ImageView             *code `json:"imageView,omitempty"`
	FlowDirection         *code `json:"flowDirection,omitempty"`
	MeasurementMethod     *code `json:"measurementMethod,omitempty"`
	CardiacCyclePoint     *code `json:"cardiacCyclePoint,omitempty"`
	RespiratoryCyclePoint *code `json:"respiratoryCyclePoint,omitempty"`
	Derivation            *code `json:"derivation,omitempty"`
	SelectionStatus       *code `json:"selectionStatus,omitempty"`
	MeasurementDivisor    *code `json:"measurementDivisor,omitempty"`

	Measurand      string    `json:"measurand,omitempty"`
	CanonicalValue canonical `json:"canonicalValue,omitzero"`
	CanonicalUnit  string    `json:"canonicalUnit,omitempty"`
	Nested         bool      `json:"nested"`
	Role           string    `json:"role"`
	ShortLabel     string    `json:"shortLabel,omitempty"`
	Section        string    `json:"section,omitempty"`
	DuplicateOf    string    `json:"duplicateOf,omitempty"` // position path of the first copy
	Superseded     bool      `json:"superseded,omitempty"`
	Problems       []problem `json:"problems,omitempty"`
}

// code is a code triple.
type code struct {
	CodeValue              string `json:"codeValue"`
	CodingSchemeDesignator string `json:"codingSchemeDesignator"`
	CodeMeaning            string `json:"codeMeaning"`
}

// canonical is a number that is absent without a measurand and may be null
// with one.
type canonical struct {
	named bool
	value *float64
}

// MarshalJSON writes the number or null.
func (c canonical) MarshalJSON() ([]byte, error) { return json.Marshal(c.value) }

type problem struct {
	Kind   string `json:"kind"`
	Detail string `json:"detail,omitempty"`
}

func codeOf(c coding.CodedConcept) code {
	return code{c.CodeValue, c.CodingSchemeDesignator, c.CodeMeaning}
}

func modifierCode(m *echo.Modifier) *code {
	if m == nil {
		return nil
	}
	c := codeOf(m.Concept)
	return &c
}

// number gives a float for JSON: never NaN, never infinite.
func number(r *big.Rat) *float64 {
	if r == nil {
		return nil
	}
	f, _ := r.Float64()
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return nil
	}
	return &f
}

// writtenNumber is the number an item states, also when its unit is not
// understood.
func writtenNumber(m *echo.Measurement) *float64 {
	if m.Quantity != nil {
		return number(m.Quantity.Value.Rat())
	}
	d, _, err := ucum.ParseDecimal(m.ValueText)
	if err != nil {
		return nil
	}
	return number(d.Rat())
}

func newMeasurementRecord(study string, m *echo.Measurement, catalogue *measurand.Catalogue) measurementRecord {
	mod := m.Modifiers
	r := measurementRecord{
		StudyInstanceUID: study, SOPInstanceUID: m.Source.SOPInstanceUID, Item: m.Source.Item,
		ConceptName: codeOf(m.ConceptName), Value: writtenNumber(m), ValueText: m.ValueText, Unit: m.Unit.CodeValue,

		FindingSite: modifierCode(mod.FindingSite), TopographicalModifier: modifierCode(mod.TopographicalModifier),
		Laterality: modifierCode(mod.Laterality), ImageMode: modifierCode(mod.ImageMode), ImageView: modifierCode(mod.ImageView),
		FlowDirection: modifierCode(mod.FlowDirection), MeasurementMethod: modifierCode(mod.MeasurementMethod),
		CardiacCyclePoint: modifierCode(mod.CardiacCyclePoint), RespiratoryCyclePoint: modifierCode(mod.RespiratoryCyclePoint),
		Derivation: modifierCode(mod.Derivation), SelectionStatus: modifierCode(mod.SelectionStatus),
		MeasurementDivisor: modifierCode(mod.MeasurementDivisor),

		Measurand: m.Measurand, Nested: m.Parent != nil, Role: string(m.Role), ShortLabel: m.ShortLabel,
		Section: m.Section, Superseded: m.Superseded,
	}
	if m.Qualifier != nil {
		c := codeOf(*m.Qualifier)
		r.Qualifier = &c
	}
	if m.DuplicateOf != nil {
		r.DuplicateOf = m.DuplicateOf.Item
	}
	for _, p := range m.Problems {
		r.Problems = append(r.Problems, problem{string(p.Kind), p.Detail})
	}
	r.canonical(m, catalogue)
	return r
}

// canonical fills the canonical pair, which is there whenever a measurand is
// named: the value null when there is none in the measurand's unit.
func (r *measurementRecord) canonical(m *echo.Measurement, catalogue *measurand.Catalogue) {
	if m.Measurand == "" {
		return
	}
	r.CanonicalValue.named = true
	if m.Canonical != nil {
		r.CanonicalValue.value, r.CanonicalUnit = number(m.Canonical.Value.Rat()), m.Canonical.Unit.Code()
	} else if named := find(catalogue, m.Measurand); named != nil {
		r.CanonicalUnit = named.Unit.Code()
	}
}

// find looks a measurand up; nil when it is unknown.
func find(catalogue *measurand.Catalogue, identifier string) *measurand.Measurand {
	if catalogue == nil {
		return nil
	}
	return catalogue.Find(identifier)
}

// eachMeasurement visits every NUM item of a study in order.
func eachMeasurement(r *run.Run, s *run.Study, visit func(measurementRecord) error) error {
	if s.Study == nil {
		return nil
	}
	for i := range s.Study.Measurements {
		if err := visit(newMeasurementRecord(s.StudyInstanceUID, &s.Study.Measurements[i], r.Measurands)); err != nil {
			return err
		}
	}
	return nil
}
