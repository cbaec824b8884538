package phantom

import (
	"cmp"
	"fmt"

	"echotally/internal/dcm"
)

// SOP classes and other fixed identifiers (PS3.6).
const (
	comprehensiveSR  = "1.2.840.10008.5.1.4.1.1.88.33"
	simplifiedEchoSR = "1.2.840.10008.5.1.4.1.1.88.72"
	templateUID      = "1.2.840.10008.8.1.1" // DICOM Content Mapping Resource
)

// Tags used here.
var (
	tagSOPClass      = dcm.T(0x00080016)
	TagSOPInstance   = dcm.T(0x00080018)
	TagCodeValue     = dcm.T(0x00080100)
	TagCodeScheme    = dcm.T(0x00080102)
	tagCodeMeaning   = dcm.T(0x00080104)
	tagRelationship  = dcm.T(0x0040A010)
	TagValueType     = dcm.T(0x0040A040)
	TagConceptName   = dcm.T(0x0040A043)
	tagContinuity    = dcm.T(0x0040A050)
	tagTextValue     = dcm.T(0x0040A160)
	tagPersonName    = dcm.T(0x0040A123)
	tagUID           = dcm.T(0x0040A124)
	tagConceptCode   = dcm.T(0x0040A168)
	TagMeasuredValue = dcm.T(0x0040A300)
	TagNumericValue  = dcm.T(0x0040A30A)
	TagUnits         = dcm.T(0x004008EA)
	tagQualifier     = dcm.T(0x0040A301)
	TagContent       = dcm.T(0x0040A730)
	tagTemplate      = dcm.T(0x0040A504)
	tagTemplateID    = dcm.T(0x0040DB00)
	tagMapping       = dcm.T(0x00080105)
	tagMappingUID    = dcm.T(0x00080118)
)

func (c code) dataset() dcm.Dataset {
	return dcm.New(
		dcm.Strings(TagCodeValue, c.value), dcm.Strings(TagCodeScheme, c.scheme), dcm.Strings(tagCodeMeaning, short(c.meaning)),
	)
}

// short keeps a code meaning within the 64 characters of the VR LO.
func short(meaning string) string {
	if len(meaning) > 64 {
		return meaning[:64]
	}
	return meaning
}

// dataset encodes a content item with all below it.
func (i Item) dataset() dcm.Dataset {
	d := dcm.New(dcm.Strings(TagValueType, i.valueType), dcm.Sequence(TagConceptName, i.name.dataset()))
	if i.relation != "" {
		d.Add(dcm.Strings(tagRelationship, i.relation))
	}
	switch i.valueType {
	case "CONTAINER":
		d.Add(dcm.Strings(tagContinuity, "SEPARATE"))
		if i.template != "" {
			d.Add(dcm.Sequence(tagTemplate, dcm.New(
				dcm.Strings(tagMapping, "DCMR"), dcm.Strings(tagMappingUID, templateUID), dcm.Strings(tagTemplateID, i.template),
			)))
		}
	case "CODE":
		d.Add(dcm.Sequence(tagConceptCode, i.value.dataset()))
	case "TEXT":
		d.Add(dcm.Strings(tagTextValue, i.text))
	case "PNAME":
		d.Add(dcm.Strings(tagPersonName, i.text))
	case "UIDREF":
		d.Add(dcm.Strings(tagUID, i.text))
	case "IMAGE":
		d.Add(dcm.Sequence(dcm.T(0x00081199), dcm.New(dcm.Strings(dcm.T(0x00081150), i.class), dcm.Strings(dcm.T(0x00081155), i.text))))
	case "SCOORD":
		d.Add(dcm.Strings(dcm.T(0x00700023), "POINT"), dcm.Floats(dcm.T(0x00700022), i.points...))
	case "NUM":
		d.Add(i.measured()...)
	}
	if len(i.children) > 0 {
		var items []dcm.Dataset
		for _, child := range i.children {
			items = append(items, child.dataset())
		}
		d.Add(dcm.Sequence(TagContent, items...))
	}
	return d
}

// measured encodes the value of a NUM item; the sequence is empty when there
// is none (PS3.3 C.18.1).
func (i Item) measured() []dcm.Element {
	var values []dcm.Dataset
	if i.number != "" {
		value := dcm.New(dcm.Strings(TagNumericValue, i.number))
		if i.unit != nil {
			value.Add(dcm.Sequence(TagUnits, i.unit.dataset()))
		} else {
			value.Add(dcm.Sequence(TagUnits))
		}
		values = append(values, value)
	}
	elements := []dcm.Element{dcm.Sequence(TagMeasuredValue, values...)}
	if i.qualifier != nil {
		elements = append(elements, dcm.Sequence(tagQualifier, i.qualifier.dataset()))
	}
	return elements
}

// Header holds what differs between the objects of one study.
type Header struct {
	Study, Series, Instance string
	Number                  int
	Day                     int    // days after the first study day
	Time                    string // content time
	Completion, Preliminary string
	Predecessor             string // SOP Instance UID
	Patient, Birth          string // end of the Patient ID, that of the study when ""; birth date, DA or ""
}

// Document encodes a whole report object.
func (d Dialect) Document(c *Record, h Header, root Item) dcm.Dataset {
	out := root.dataset()
	s := c.Subject
	date := day(h.Day)
	number := fmt.Sprintf("%03d", h.Number)
	patient := cmp.Or(h.Patient, number)
	out.Add(
		dcm.Strings(tagSOPClass, d.sopClass), dcm.Strings(TagSOPInstance, h.Instance),
		dcm.Strings(dcm.T(0x00080012), date), dcm.Strings(dcm.T(0x00080013), h.Time), // instance creation
		dcm.Strings(dcm.T(0x00080020), date), dcm.Strings(dcm.T(0x00080030), "090000"), // study
		dcm.Strings(dcm.T(0x00080023), date), dcm.Strings(dcm.T(0x00080033), h.Time), // content
		dcm.Strings(dcm.T(0x00080050), "DEMO-A"+number),
		dcm.Strings(dcm.T(0x00080060), "SR"),
		dcm.Strings(dcm.T(0x00080070), d.maker), dcm.Strings(dcm.T(0x00081090), d.model),
		dcm.Strings(dcm.T(0x00080080), "Harbourlight Echo Laboratory"),
		dcm.Strings(dcm.T(0x00080090)),
		dcm.Strings(dcm.T(0x00081010), short(d.Name+"-1")), dcm.Strings(dcm.T(0x00181020), d.Software),
		dcm.Strings(dcm.T(0x00181000), d.serial), dcm.Strings(dcm.T(0x00080201), "+0000"),
		dcm.Strings(dcm.T(0x00081030), "Transthoracic echocardiogram"),
		dcm.Sequence(dcm.T(0x00081111)), // referenced performed procedure step
		dcm.Strings(dcm.T(0x00100010), "Demo^Patient "+patient), dcm.Strings(dcm.T(0x00100020), "DEMO-"+patient),
		birthDate(h.Birth), dcm.Strings(dcm.T(0x00100040), s.Sex),
		dcm.Strings(dcm.T(0x00101010), ageString(s.Age)),
		dcm.Strings(dcm.T(0x0020000D), h.Study), dcm.Strings(dcm.T(0x0020000E), h.Series),
		dcm.Strings(dcm.T(0x00200010), number), dcm.Ints(dcm.T(0x00200011), 1), dcm.Ints(dcm.T(0x00200013), 1),
		dcm.Strings(dcm.T(0x0040A491), h.Completion), dcm.Strings(dcm.T(0x0040A493), "UNVERIFIED"),
		dcm.Sequence(dcm.T(0x0040A372)), // performed procedure code
	)
	if s.Height > 0 {
		out.Add(dcm.Strings(dcm.T(0x00101020), Decimal(s.Height/100, 2)), dcm.Strings(dcm.T(0x00101030), Decimal(s.Weight, 1)))
	}
	if h.Preliminary != "" {
		out.Add(dcm.Strings(dcm.T(0x0040A496), h.Preliminary))
	}
	if h.Predecessor != "" {
		out.Add(dcm.Sequence(dcm.T(0x0040A360), dcm.New(
			dcm.Strings(dcm.T(0x0020000D), h.Study),
			dcm.Sequence(dcm.T(0x00081115), dcm.New(
				dcm.Strings(dcm.T(0x0020000E), h.Series),
				dcm.Sequence(dcm.T(0x00081199), dcm.New(
					dcm.Strings(dcm.T(0x00081150), d.sopClass), dcm.Strings(dcm.T(0x00081155), h.Predecessor),
				)),
			)),
		)))
	}
	return out
}

// birthDate is the attribute, empty when it is not known.
func birthDate(da string) dcm.Element {
	if da == "" {
		return dcm.Strings(dcm.T(0x00100030))
	}
	return dcm.Strings(dcm.T(0x00100030), da)
}

// ageString is the VR AS.
func ageString(years float64) string {
	return fmt.Sprintf("%03dY", int(years))
}
