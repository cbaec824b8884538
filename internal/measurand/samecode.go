package measurand

import (
	"strings"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/term"
)

// Telling are the modifiers that make one code several quantities. Image mode
// and view, respiration, derivation and selection tell values of one quantity
// apart.
func Telling() []term.Field {
	return []term.Field{
		term.FindingSite, term.TopographicalModifier, term.Laterality, term.FlowDirection, term.MeasurementMethod,
		term.CardiacCyclePoint, term.MeasurementDivisor, term.MeasuredProperty, term.MeasurementType,
	}
}

// SameCode is a text that measurements have in common which one entry of a site file
// cannot tell apart.
func SameCode(m *echo.Measurement) string {
	parts := []string{m.ConceptName.Key().String(), m.Unit.CodeValue}
	if IsPrivate(m.ConceptName.Key()) {
		parts = append(parts, m.Equipment.Manufacturer)
	}
	if m.AdHoc {
		parts = append(parts, m.ShortLabel)
	}
	if m.ConceptName.CodeValue == "" {
		parts = append(parts, m.ConceptName.CodeMeaning)
	}
	for _, f := range Telling() {
		key := coding.Key{}
		if x := ModifierOf(&m.Modifiers, f); x != nil {
			key = x.Concept.Key()
		}
		parts = append(parts, key.String())
	}
	return strings.Join(parts, "\x00")
}

// IsPrivate reports whether a code's meaning depends on who made the device.
func IsPrivate(k coding.Key) bool {
	return strings.HasPrefix(k.CodingSchemeDesignator, "99") || k.CodingSchemeDesignator == ""
}
