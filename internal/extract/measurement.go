package extract

import (
	"slices"
	"strings"
	"time"

	"echotally/internal/echo"
	"echotally/internal/sr"
)

// measurement adds one NUM item in its surroundings to the list and returns it there.
func (x *extractor) measurement(item *sr.ContentItem, here *scope) *echo.Measurement {
	x.measurements = append(x.measurements, echo.Measurement{
		ConceptName:         x.nameOf(item).standard,
		Modifiers:           here.modifiers,
		Other:               here.others,
		ObservationDateTime: parseDateTime(item.ObservationDateTime),
		Equipment:           x.equipment,
		Source:              x.source(item),
		Role:                here.role(item),
		Parent:              here.parent(),
		Group:               here.group,
		Section:             here.section,
		SectionSite:         here.sectionSite,
		AdHoc:               here.adHoc,
		Fetus:               here.fetus,
	})
	m := &x.measurements[len(x.measurements)-1]
	readTexts(m, item)
	for _, use := range sr.Images(item) {
		m.Images = append(m.Images, echo.ImageReference{
			SOPInstanceUID: use.SOPInstanceUID, Frames: use.Frames, GraphicType: use.GraphicType, GraphicData: use.GraphicData,
		})
	}
	x.readValue(m, item.MeasuredValue)
	x.name(m)
	return m
}

// name finds the measurand of a measurement and brings the quantity to its unit.
func (x *extractor) name(m *echo.Measurement) {
	if x.c.Measurands == nil {
		return
	}
	measurand := x.c.Measurands.Name(m)
	if measurand == nil {
		return
	}
	m.Measurand = measurand.Identifier
	if m.Quantity == nil {
		return
	}
	q, err := measurand.Canonical(*m.Quantity)
	if err != nil {
		m.Problems = append(m.Problems, echo.Problem{Kind: echo.UnitWrongDimension,
			Detail: "the unit " + m.Quantity.Unit.Code() + " cannot be one of " + measurand.Title + " (" + measurand.Unit.Code() + ")"})
		return
	}
	m.Canonical = x.quantity(q)
}

func equipment(doc *sr.Document) echo.Equipment {
	return echo.Equipment{
		Manufacturer: doc.Manufacturer, ManufacturerModelName: doc.ManufacturerModelName,
		SoftwareVersions: doc.SoftwareVersions, StationName: doc.StationName,
	}
}

// readTexts reads the labels below a NUM item.
func readTexts(m *echo.Measurement, item *sr.ContentItem) {
	for i := range item.ContentItems {
		child := &item.ContentItems[i]
		text := strings.TrimSpace(child.Text)
		if child.ConceptCode != nil {
			text = child.ConceptCode.CodeMeaning
		}
		switch child.Name {
		case shortLabel:
			m.ShortLabel = text
		case equivalentMeaning:
			m.EquivalentMeaning = text
		case trackingUID:
			m.TrackingUID = text
		case referenceAuthority, populationDescription:
			m.ReferenceAuthority = join(m.ReferenceAuthority, text)
		default:
			if m.Role == echo.Statistic && slices.Contains(citations, child.Name) {
				m.ReferenceAuthority = join(m.ReferenceAuthority, text)
			}
		}
	}
}

// join adds a text to others.
func join(texts, text string) string {
	if texts == "" || text == "" {
		return texts + text
	}
	return texts + "; " + text
}

// dateTimeLayouts are the precisions DT allows (PS3.5 6.2), finest first.
var dateTimeLayouts = []string{"20060102150405", "200601021504", "2006010215", "20060102", "200601", "2006"}

// parseDateTime reads a DT value; the zero time stands for an absent or
// unreadable one. Without offset it is taken as UTC, which only serves to tell
// times of one study apart.
func parseDateTime(dt string) time.Time {
	if dt = strings.TrimSpace(dt); dt == "" {
		return time.Time{}
	}
	zone := ""
	if i := strings.LastIndexAny(dt, "+-"); i > 0 {
		dt, zone = dt[:i], dt[i:]
	}
	whole, fraction, _ := strings.Cut(dt, ".")
	for _, layout := range dateTimeLayouts {
		if len(whole) != len(layout) {
			continue
		}
		text := whole
		if fraction != "" {
			layout, text = layout+".000000", text+"."+(fraction + "000000")[:6]
		}
		if zone != "" {
			layout, text = layout+"-0700", text+zone
		}
		if t, err := time.Parse(layout, text); err == nil {
			return t
		}
	}
	return time.Time{}
}
