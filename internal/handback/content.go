package handback

import (
	"fmt"
	"slices"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/dcm"
	"echotally/internal/finding"
	"echotally/internal/handback/concern"
	"echotally/internal/layout"
	"echotally/internal/sr"
	"echotally/internal/sr/made"
)

// Titles of key objects (PS3.16 CID 7010). Of the same group, 113001 and 113037 to 113039
// reject objects, which archives then hide: they are never written.
var titles = map[Kind]*coding.CodedConcept{
	QualityIssue: dicom("113010", "Quality Issue"),
	PeerReview:   dicom("113008", "For Peer Review"),
}

// Key gives key objects of a kind: those concerned by errors, warnings and what is to be
// looked at, or for peer review all objects at hand. It is nil when there is nothing to
// point at. The document title modifiers that a quality issue may have (CID 7011) are of
// radiography, so what it is stands in the description.
func (m *Maker) Key(kind Kind) (*Object, error) {
	var objects []sr.InstanceReference
	var lines []string
	if kind == PeerReview {
		objects = m.Source.Objects()
		lines = append(lines, fmt.Sprintf("All %s of this study at hand, for a second reading.", layout.Count(len(objects), "object")))
	} else {
		for _, c := range concern.Of(m.Judgement, m.Study, m.Source) {
			if concern.Rank(c.Result) < finding.Warning.Rank() {
				continue
			}
			lines = append(lines, fmt.Sprintf("%d. %s%s Rule %s.", len(lines)+1, c.Words(), places(c.Items), c.Rule()))
			for _, o := range c.Objects {
				if !slices.ContainsFunc(objects, func(x sr.InstanceReference) bool { return x.SOPInstanceUID == o.SOPInstanceUID }) {
					objects = append(objects, o)
				}
			}
		}
	}
	if len(objects) == 0 {
		return nil, nil
	}
	if words := concern.Untold(m.Judgement); words != "" && kind == QualityIssue {
		lines = append(lines, words)
	}
	description := strings.Join(append([]string{caution, m.basis()}, lines...), "\n")
	root := made.Item{ValueType: sr.ContainerValue, ConceptName: titles[kind], Template: "2010", Children: append(m.context(),
		text(dicom("113012", "Key Object Description"), description))}
	for _, o := range objects {
		root.Children = append(root.Children, m.pointer(sr.Contains, o))
	}
	body := root.Dataset()
	body.Add(m.evidence(objects))
	return m.object(kind, body, "")
}

// places says where the items are.
func places(items []string) string {
	if len(items) == 0 {
		return ""
	}
	return " Content items " + strings.Join(items, ", ") + "."
}

// caution is said in every object, for it will be read without the sheet.
const caution = layout.Caution + " It judges the record, not the patient. Not verified by anybody."

// basis says by what the study was judged.
func (m *Maker) basis() string {
	l := m.Judgement.Library
	return fmt.Sprintf("%s. Judged by echotally %s, rule set %s, guideline edition %s.", concern.Title(m.Study, m.Judgement.Protocols), m.Judgement.SoftwareVersion, l.Version, l.Edition)
}

// Text gives the findings as a Basic Text SR. It is there also when nothing was found,
// and says so.
func (m *Maker) Text() (*Object, error) {
	found := made.Item{Relationship: sr.Contains, ValueType: sr.ContainerValue, ConceptName: ownName("FINDINGS", "What was found of the record")}
	var objects []sr.InstanceReference
	for _, c := range concern.Of(m.Judgement, m.Study, m.Source) {
		item := text(ownName("FINDING", "Finding of the record"), c.Words())
		item.Children = append(item.Children, m.property("RULE", "Rule", c.Rule()))
		if len(c.Items) > 0 {
			item.Children = append(item.Children, m.property("ITEMS", "Content items of the report", strings.Join(c.Items, ", ")))
		}
		for _, o := range c.Objects {
			item.Children = append(item.Children, m.pointer(sr.InferredFrom, o))
			objects = append(objects, o)
		}
		found.Children = append(found.Children, item)
	}
	if len(found.Children) == 0 {
		found.Children = append(found.Children, text(ownName("FINDING", "Finding of the record"), "These rules found neither error, warning nor note. Whether the study is signed is the reader's decision."))
	}
	root := made.Item{ValueType: sr.ContainerValue, ConceptName: ownName("AUDIT", "Quality audit of an echo record"), Children: append(m.context(),
		text(ownName("CAUTION", "Caution"), caution), text(ownName("BASIS", "Judged by"), m.basis()), found)}
	if words := concern.Untold(m.Judgement); words != "" {
		root.Children = append(root.Children, text(ownName("UNTOLD", "What could not be checked"), words))
	}
	for _, words := range concern.Excused(m.Judgement) {
		root.Children = append(root.Children, text(ownName("EXCUSED", "Absent with the reason recorded"), words))
	}
	flag := "PARTIAL"
	if m.Complete {
		flag = "COMPLETE"
	}
	body := root.Dataset()
	body.Add(dcm.Strings(dcm.T(0x0040A491), flag), dcm.Strings(dcm.T(0x0040A493), "UNVERIFIED"), dcm.Sequence(dcm.T(0x0040A372)))
	if len(objects) > 0 {
		body.Add(m.evidence(objects))
	}
	return m.object(Report, body, "")
}

// context is language and observer (PS3.16 TID 1204, 1002 and 1004): a device, for
// nobody looked.
func (m *Maker) context() []made.Item {
	observed := func(name *coding.CodedConcept, words string) made.Item {
		return made.Item{Relationship: sr.HasObsContext, ValueType: sr.TextValue, ConceptName: name, Text: words}
	}
	out := []made.Item{
		{Relationship: sr.HasConceptMod, ValueType: sr.CodeValue, ConceptName: dicom("121049", "Language of Content Item and Descendants"),
			Code: coding.CodedConcept{CodeValue: "en", CodingSchemeDesignator: "RFC5646", CodeMeaning: "English"}},
		{Relationship: sr.HasObsContext, ValueType: sr.CodeValue, ConceptName: dicom("121005", "Observer Type"), Code: *dicom("121007", "Device")},
		{Relationship: sr.HasObsContext, ValueType: sr.UIDRefValue, ConceptName: dicom("121012", "Device Observer UID"), Text: uid("device", m.Software, m.institution())},
		observed(dicom("121013", "Device Observer Name"), "echotally "+m.Software),
		observed(dicom("121014", "Device Observer Manufacturer"), made.Maker),
	}
	if at := m.institution(); at != "" {
		out = append(out, observed(dicom("121017", "Device Observer Physical Location During Observation"), at))
	}
	return out
}

func text(name *coding.CodedConcept, words string) made.Item {
	return made.Item{Relationship: sr.Contains, ValueType: sr.TextValue, ConceptName: name, Text: words}
}

func (m *Maker) property(value, meaning, words string) made.Item {
	return made.Item{Relationship: sr.HasProperties, ValueType: sr.TextValue, ConceptName: ownName(value, meaning), Text: words}
}

// pointer points at an object: an image, or a composite object that is none.
func (m *Maker) pointer(how sr.RelationshipType, o sr.InstanceReference) made.Item {
	out := made.Item{Relationship: how, ValueType: sr.CompositeValue, Reference: o}
	if m.Source.IsImage(o.SOPInstanceUID) {
		out.ValueType = sr.ImageValue
	}
	return out
}

func ownName(value, meaning string) *coding.CodedConcept {
	c := own(value, meaning)
	return &c
}

// evidence lists the objects pointed at by series (PS3.3 C.17.2, Current Requested
// Procedure Evidence Sequence).
func (m *Maker) evidence(objects []sr.InstanceReference) dcm.Element {
	by := map[string][]dcm.Dataset{}
	var order []string
	said := map[string]bool{}
	for _, o := range objects {
		if said[o.SOPInstanceUID] {
			continue
		}
		said[o.SOPInstanceUID] = true
		if by[o.SeriesInstanceUID] == nil {
			order = append(order, o.SeriesInstanceUID)
		}
		by[o.SeriesInstanceUID] = append(by[o.SeriesInstanceUID], dcm.New(dcm.Strings(dcm.T(0x00081150), o.SOPClassUID), dcm.Strings(dcm.T(0x00081155), o.SOPInstanceUID)))
	}
	var all []dcm.Dataset
	for _, s := range order {
		all = append(all, dcm.New(dcm.Strings(dcm.T(0x0020000E), s), dcm.Sequence(dcm.T(0x00081199), by[s]...)))
	}
	return dcm.Sequence(dcm.T(0x0040A375), dcm.New(dcm.Strings(dcm.T(0x0020000D), m.Source.StudyInstanceUID), dcm.Sequence(dcm.T(0x00081115), all...)))
}
