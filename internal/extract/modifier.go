package extract

import (
	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/sr"
)

// key builds the identity of a code of the standard.
func key(scheme, value string) coding.Key {
	return coding.Key{CodeValue: value, CodingSchemeDesignator: scheme}
}

// Concepts that extraction looks for (PS3.16).
var (
	findingSite           = key("SCT", "363698007")
	topographicalModifier = key("SCT", "106233006")
	laterality            = key("SCT", "272741003")
	measurementGroup      = key("DCM", "125007")
	adHocMeasurements     = key("DCM", "125303")
	shortLabel            = key("DCM", "125309")
	equivalentMeaning     = key("DCM", "121050")
	trackingIdentifier    = key("DCM", "112039")
	trackingUID           = key("DCM", "112040")
	fetusSubject          = key("DCM", "121026")
	populationDescription = key("DCM", "121405")
	referenceAuthority    = key("DCM", "121406")
	findingsTitles        = []coding.Key{key("DCM", "121070"), key("LN", "59776-5")}
)

// citations are the texts by which an item says what equation or table it was
// computed with (PS3.16 CID 228).
var citations = []coding.Key{key("DCM", "121420"), key("DCM", "121421"), key("DCM", "121422"), key("DCM", "121423"), key("DCM", "121424")}

// field is the modifier that a concept name fills, nil for none. A child is taken
// by its concept, whatever the relationship type: writers differ (HAS CONCEPT MOD,
// HAS ACQ CONTEXT, HAS PROPERTIES, CONTAINS).
func field(m *echo.Modifiers, name coding.Key) **echo.Modifier {
	switch name.CodingSchemeDesignator {
	case "SCT":
		switch name.CodeValue {
		case "363698007":
			return &m.FindingSite
		case "106233006":
			return &m.TopographicalModifier
		case "272741003":
			return &m.Laterality
		case "399264008":
			return &m.ImageMode
		case "260674002":
			return &m.FlowDirection
		case "370129005":
			return &m.MeasurementMethod
		case "272518008":
			return &m.CardiacCyclePoint
		case "272517003":
			return &m.RespiratoryCyclePoint
		}
	case "DCM":
		switch name.CodeValue {
		case "111031":
			return &m.ImageView
		case "121401":
			return &m.Derivation
		case "121404":
			return &m.SelectionStatus
		case "125308", "121425": // Measurement Divisor; Index, TID 5224
			return &m.MeasurementDivisor
		case "125307":
			return &m.MeasuredProperty
		case "125306":
			return &m.MeasurementType
		case "125305":
			return &m.FindingObservationType
		}
	case "LN":
		if name.CodeValue == "18139-6" {
			return &m.Stage
		}
	}
	return nil
}

// all lists the modifiers.
func all(m *echo.Modifiers) [16]*echo.Modifier {
	return [...]*echo.Modifier{
		m.FindingSite, m.TopographicalModifier, m.Laterality, m.ImageMode, m.ImageView, m.FlowDirection,
		m.MeasurementMethod, m.CardiacCyclePoint, m.RespiratoryCyclePoint, m.Derivation, m.SelectionStatus,
		m.MeasurementDivisor, m.MeasuredProperty, m.MeasurementType, m.FindingObservationType, m.Stage,
	}
}

// inherit fills the empty fields of m from farther out. What qualifies a
// finding site (laterality, topographical modifier) does not come from farther
// out than the site itself: the right of a vein's section is not the right of a
// valve.
func inherit(m *echo.Modifiers, outer *echo.Modifiers) {
	take := func(to **echo.Modifier, from *echo.Modifier) {
		if *to == nil {
			*to = from
		}
	}
	same := m.FindingSite == nil || outer.FindingSite == nil || m.FindingSite == outer.FindingSite || m.FindingSite.Concept.Key() == outer.FindingSite.Concept.Key()
	if same {
		take(&m.Laterality, outer.Laterality)
		take(&m.TopographicalModifier, outer.TopographicalModifier)
	}
	take(&m.FindingSite, outer.FindingSite)
	take(&m.ImageMode, outer.ImageMode)
	take(&m.ImageView, outer.ImageView)
	take(&m.FlowDirection, outer.FlowDirection)
	take(&m.MeasurementMethod, outer.MeasurementMethod)
	take(&m.CardiacCyclePoint, outer.CardiacCyclePoint)
	take(&m.RespiratoryCyclePoint, outer.RespiratoryCyclePoint)
	take(&m.Derivation, outer.Derivation)
	take(&m.SelectionStatus, outer.SelectionStatus)
	take(&m.MeasurementDivisor, outer.MeasurementDivisor)
	take(&m.MeasuredProperty, outer.MeasuredProperty)
	take(&m.MeasurementType, outer.MeasurementType)
	take(&m.FindingObservationType, outer.FindingObservationType)
	take(&m.Stage, outer.Stage)
}

// stated reads the modifiers a node states itself; of a NUM item, coded children
// that are no modifier, and further finding sites, come back as others.
func (x *extractor) stated(node *sr.ContentItem, level echo.Level, outerSite *echo.Modifier) (m echo.Modifiers, others []echo.Coded) {
	if len(node.ContentItems) == 0 {
		return m, nil
	}
	site := chosenSite(node, outerSite)
	for i := range node.ContentItems {
		child := node.ContentItems[i].Target()
		if child == nil || child.ConceptCode == nil {
			continue
		}
		to := field(&m, child.Name)
		switch {
		case to == nil || to == &m.FindingSite && child != site:
			if node.ValueType == sr.NumValue {
				others = append(others, echo.Coded{Name: x.nameOf(child).standard, Value: x.valueOf(child).standard})
			}
		case *to == nil:
			*to = x.modifier(child, level)
		}
	}
	if site != nil {
		x.qualifySite(&m, site, level)
	}
	return m, others
}

// qualifySite reads what hangs below the Finding Site item (TID 300 rows 6, 7).
func (x *extractor) qualifySite(m *echo.Modifiers, site *sr.ContentItem, level echo.Level) {
	for i := range site.ContentItems {
		child := site.ContentItems[i].Target()
		if child == nil || child.ConceptCode == nil {
			continue
		}
		switch child.Name {
		case laterality:
			m.Laterality = x.modifier(child, level)
		case topographicalModifier:
			m.TopographicalModifier = x.modifier(child, level)
		}
	}
}

// chosenSite picks the finding site of a node that states several (TID 300
// allows that): the first that says more than the surroundings do.
func chosenSite(node *sr.ContentItem, outer *echo.Modifier) *sr.ContentItem {
	var first *sr.ContentItem
	for i := range node.ContentItems {
		child := node.ContentItems[i].Target()
		if child == nil || child.ConceptCode == nil || child.Name != findingSite {
			continue
		}
		if outer == nil || child.Code != outer.Concept.Key() {
			return child
		}
		if first == nil {
			first = child
		}
	}
	return first
}

// levelOf says at which level a node stands; depth is 0 at the root.
func levelOf(node *sr.ContentItem, depth int) echo.Level {
	switch name := node.Name; {
	case node.ValueType != sr.ContainerValue:
		return echo.ItemLevel
	case depth == 0:
		return echo.DocumentLevel
	case name == measurementGroup:
		return echo.GroupLevel
	case name == findingsTitles[0], name == findingsTitles[1], depth == 1:
		return echo.SectionLevel
	}
	return echo.GroupLevel
}
