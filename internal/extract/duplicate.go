package extract

import (
	"fmt"

	"echotally/internal/coding"
	"echotally/internal/echo"
)

// identity is what two exact duplicates have in common.
type identity struct {
	concept   coding.Key
	modifiers string
	value     string
	unit      coding.Key
}

// markDuplicates marks results that repeat an earlier one exactly: concept,
// effective modifiers, value and unit as written. Two items of one group are
// two beats, however equal, unless tracking UID or observation time says that
// they are one; two items of different groups or documents are one, unless
// these say otherwise. Superseded measurements take no part.
func markDuplicates(list []echo.Measurement) {
	seen := map[identity][]*echo.Measurement{}
	for i := range list {
		m := &list[i]
		if m.Role != echo.Result || m.ValueText == "" || m.Superseded {
			continue
		}
		id := identity{m.ConceptName.Key(), modifierKeys(&m.Modifiers), m.ValueText, m.Unit.Key()}
		for _, earlier := range seen[id] {
			if sameObservation(earlier, m) {
				first := earlier.Source
				m.DuplicateOf = &first
				break
			}
		}
		if m.DuplicateOf == nil {
			seen[id] = append(seen[id], m)
		}
	}
}

func sameObservation(a, b *echo.Measurement) bool {
	if a.TrackingUID != "" && b.TrackingUID != "" {
		return a.TrackingUID == b.TrackingUID
	}
	if !a.ObservationDateTime.IsZero() && !b.ObservationDateTime.IsZero() {
		return a.ObservationDateTime.Equal(b.ObservationDateTime)
	}
	return a.Group != b.Group || a.Source.SOPInstanceUID != b.Source.SOPInstanceUID
}

// modifierKeys writes the effective modifiers down so that equal ones compare
// equal, whatever level or spelling they came from.
func modifierKeys(m *echo.Modifiers) string {
	var out string
	for _, f := range []*echo.Modifier{
		m.FindingSite, m.TopographicalModifier, m.Laterality, m.ImageMode, m.ImageView, m.FlowDirection,
		m.MeasurementMethod, m.CardiacCyclePoint, m.RespiratoryCyclePoint, m.Derivation, m.SelectionStatus,
		m.MeasurementDivisor, m.MeasuredProperty, m.MeasurementType, m.FindingObservationType, m.Stage,
	} {
		if f == nil {
			out += "|"
			continue
		}
		out += fmt.Sprintf("%q|", f.Concept.Key().String())
	}
	return out
}
