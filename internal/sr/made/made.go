// Package made owns content items of a report that is written: each with all below it, as
// a data set.
package made

import (
	"echotally/internal/coding"
	"echotally/internal/dcm"
	"echotally/internal/sr"
)

// Item is a content item to be written, with all below it (PS3.3 C.17.3). Nothing of it
// is checked against a template: that is for who makes the report.
type Item struct {
	Relationship sr.RelationshipType // to its parent, "" of the root
	ValueType    sr.ValueType
	ConceptName  *coding.CodedConcept // nil for none
	Template     string               // of a container; "" for none
	Text         string               // of TEXT, PNAME and UIDREF
	Code         coding.CodedConcept  // of CODE
	Reference    sr.InstanceReference // of IMAGE and COMPOSITE
	Children     []Item
}

// Maker is the manufacturer that objects about a study name which this program wrote.
// They are no record of the study: what they say was read from it.
const Maker = "echotally"

// contentMapping is the mapping resource whose templates are named (PS3.16).
const contentMapping = "DCMR"

// Dataset encodes the item.
func (m *Item) Dataset() dcm.Dataset {
	d := dcm.New(dcm.Strings(dcm.T(0x0040A040), string(m.ValueType)))
	if m.ConceptName != nil {
		d.Add(dcm.Sequence(dcm.T(0x0040A043), Code(*m.ConceptName)))
	}
	if m.Relationship != "" {
		d.Add(dcm.Strings(dcm.T(0x0040A010), string(m.Relationship)))
	}
	switch m.ValueType {
	case sr.ContainerValue:
		d.Add(dcm.Strings(dcm.T(0x0040A050), "SEPARATE"))
		if m.Template != "" {
			d.Add(dcm.Sequence(dcm.T(0x0040A504), dcm.New(dcm.Strings(dcm.T(0x00080105), contentMapping), dcm.Strings(dcm.T(0x0040DB00), m.Template))))
		}
	case sr.TextValue:
		d.Add(dcm.Strings(dcm.T(0x0040A160), m.Text))
	case sr.PNameValue:
		d.Add(dcm.Strings(dcm.T(0x0040A123), m.Text))
	case sr.UIDRefValue:
		d.Add(dcm.Strings(dcm.T(0x0040A124), m.Text))
	case sr.CodeValue:
		d.Add(dcm.Sequence(dcm.T(0x0040A168), Code(m.Code)))
	case sr.ImageValue, sr.CompositeValue:
		of := dcm.New(dcm.Strings(dcm.T(0x00081150), m.Reference.SOPClassUID), dcm.Strings(dcm.T(0x00081155), m.Reference.SOPInstanceUID))
		d.Add(dcm.Sequence(dcm.T(0x00081199), of))
	}
	var items []dcm.Dataset
	for i := range m.Children {
		items = append(items, m.Children[i].Dataset())
	}
	if len(items) > 0 {
		d.Add(dcm.Sequence(dcm.T(0x0040A730), items...))
	}
	return d
}

// Code encodes a coded concept (PS3.3 8.8). A meaning is cut at the 64 characters its VR
// has room for.
func Code(c coding.CodedConcept) dcm.Dataset {
	meaning := []rune(c.CodeMeaning)
	return dcm.New(dcm.Strings(dcm.T(0x00080100), c.CodeValue), dcm.Strings(dcm.T(0x00080102), c.CodingSchemeDesignator),
		dcm.Strings(dcm.T(0x00080104), string(meaning[:min(len(meaning), 64)])))
}
