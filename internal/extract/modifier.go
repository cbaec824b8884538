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

// fields says which field of the effective modifiers a concept name fills. A
// child is taken by its concept, whatever the relationship type: writers differ
// (HAS CONCEPT MOD, HAS ACQ CONTEXT, HAS PROPERTIES, CONTAINS).
var fields = map[coding.Key]func(*echo.Modifiers) **echo.Modifier{
	findingSite:             func(m *echo.Modifiers) **echo.Modifier { return &m.FindingSite },
	topographicalModifier:   func(m *echo.Modifiers) **echo.Modifier { return &m.TopographicalModifier },
	laterality:              func(m *echo.Modifiers) **echo.Modifier { return &m.Laterality },
	key("SCT", "399264008"): func(m *echo.Modifiers) **echo.Modifier { return &m.ImageMode },
	key("DCM", "111031"):    func(m *echo.Modifiers) **echo.Modifier { return &m.ImageView },
	key("SCT", "260674002"): func(m *echo.Modifiers) **echo.Modifier { return &m.FlowDirection },
	key("SCT", "370129005"): func(m *echo.Modifiers) **echo.Modifier { return &m.MeasurementMethod },
	key("SCT", "272518008"): func(m *echo.Modifiers) **echo.Modifier { return &m.CardiacCyclePoint },
	key("SCT", "272517003"): func(m *echo.Modifiers) **echo.Modifier { return &m.RespiratoryCyclePoint },
	key("DCM", "121401"):    func(m *echo.Modifiers) **echo.Modifier { return &m.Derivation },
	key("DCM", "121404"):    func(m *echo.Modifiers) **echo.Modifier { return &m.SelectionStatus },
	key("DCM", "125308"):    func(m *echo.Modifiers) **echo.Modifier { return &m.MeasurementDivisor },
	key("DCM", "121425"):    func(m *echo.Modifiers) **echo.Modifier { return &m.MeasurementDivisor }, // Index, TID 5224
	key("DCM", "125307"):    func(m *echo.Modifiers) **echo.Modifier { return &m.MeasuredProperty },
	key("DCM", "125306"):    func(m *echo.Modifiers) **echo.Modifier { return &m.MeasurementType },
	key("DCM", "125305"):    func(m *echo.Modifiers) **echo.Modifier { return &m.FindingObservationType },
	key("LN", "18139-6"):    func(m *echo.Modifiers) **echo.Modifier { return &m.Stage },
}

// inherit fills the empty fields of m from farther out. What qualifies a
// finding site (laterality, topographical modifier) does not come from farther
// out than the site itself: the right of a vein's section is not the right of a
// valve.
func inherit(m *echo.Modifiers, outer echo.Modifiers) {
	if m.FindingSite != nil && outer.FindingSite != nil && m.FindingSite.Concept.Key() != outer.FindingSite.Concept.Key() {
		outer.Laterality, outer.TopographicalModifier = nil, nil
	}
	for _, field := range fields {
		if to, from := field(m), field(&outer); *to == nil {
			*to = *from
		}
	}
}

// stated reads the modifiers a node states itself; coded children that are no
// modifier, and further finding sites, come back as others.
func stated(node *sr.ContentItem, level echo.Level, outerSite *echo.Modifier) (m echo.Modifiers, others []echo.Coded) {
	site := chosenSite(node, outerSite)
	for i := range node.ContentItems {
		child := node.ContentItems[i].Target()
		if child == nil || child.ConceptCode == nil {
			continue
		}
		name := child.ConceptName.Key()
		field, known := fields[name]
		switch {
		case !known || name == findingSite && child != site:
			others = append(others, echo.Coded{Name: child.ConceptName.Standard(), Value: child.ConceptCode.Standard()})
		case *field(&m) == nil:
			*field(&m) = modifier(child.ConceptCode, level)
		}
	}
	if site != nil {
		qualifySite(&m, site, level)
	}
	return m, others
}

func modifier(written *coding.CodedConcept, level echo.Level) *echo.Modifier {
	return &echo.Modifier{Concept: written.Standard(), Written: *written, Level: level}
}

// qualifySite reads what hangs below the Finding Site item (TID 300 rows 6, 7).
func qualifySite(m *echo.Modifiers, site *sr.ContentItem, level echo.Level) {
	for i := range site.ContentItems {
		child := site.ContentItems[i].Target()
		if child == nil || child.ConceptCode == nil {
			continue
		}
		switch child.ConceptName.Key() {
		case laterality:
			m.Laterality = modifier(child.ConceptCode, level)
		case topographicalModifier:
			m.TopographicalModifier = modifier(child.ConceptCode, level)
		}
	}
}

// chosenSite picks the finding site of a node that states several (TID 300
// allows that): the first that says more than the surroundings do.
func chosenSite(node *sr.ContentItem, outer *echo.Modifier) *sr.ContentItem {
	var first *sr.ContentItem
	for i := range node.ContentItems {
		child := node.ContentItems[i].Target()
		if child == nil || child.ConceptCode == nil || child.ConceptName.Key() != findingSite {
			continue
		}
		if outer == nil || child.ConceptCode.Key() != outer.Concept.Key() {
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
	switch name := node.ConceptName.Key(); {
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
