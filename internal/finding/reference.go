package finding

import "echotally/internal/echo"

// Reference names a thing of a study by where it was read. The zero Reference
// names nothing.
type Reference struct {
	Of             Thing  `cbor:"1,keyasint,omitempty"`
	SOPInstanceUID string `cbor:"2,keyasint,omitempty"`
	Item           string `cbor:"3,keyasint,omitempty"` // position path of the content item, "" for an image
	Which          int    `cbor:"4,keyasint,omitempty"` // how many of its kind stand before it at the same item
	Earlier        bool   `cbor:"5,keyasint,omitempty"` // in the earlier study this one is compared with
}

// Thing is a kind of thing a reference names.
type Thing int

// Kinds of things.
const (
	Nothing Thing = iota
	OfMeasurement
	OfStatement
	OfSegment
	OfImage
)

// Places are the things of one study by where they were read, and the other way
// round. They are for one goroutine.
type Places struct {
	references map[any]Reference // by pointer
	things     map[Reference]any // pointers
}

// NewPlaces arranges a study.
func NewPlaces(s *echo.Study) *Places {
	n := len(s.Measurements) + len(s.Statements) + len(s.Segments) + len(s.Images)
	p := &Places{references: make(map[any]Reference, n), things: make(map[Reference]any, n)}
	measurements := func(list []echo.Measurement, earlier bool) {
		for i := range list {
			p.add(&list[i], Reference{Of: OfMeasurement, SOPInstanceUID: list[i].Source.SOPInstanceUID, Item: list[i].Source.Item, Earlier: earlier})
		}
	}
	measurements(s.Measurements, false)
	if s.Prior != nil {
		measurements(s.Prior.Measurements, true)
	}
	for i := range s.Statements {
		p.add(&s.Statements[i], Reference{Of: OfStatement, SOPInstanceUID: s.Statements[i].Source.SOPInstanceUID, Item: s.Statements[i].Source.Item})
	}
	for i := range s.Segments {
		p.add(&s.Segments[i], Reference{Of: OfSegment, SOPInstanceUID: s.Segments[i].Source.SOPInstanceUID, Item: s.Segments[i].Source.Item})
	}
	for i := range s.Images {
		p.add(&s.Images[i], Reference{Of: OfImage, SOPInstanceUID: s.Images[i].SOPInstanceUID})
	}
	return p
}

func (p *Places) add(thing any, at Reference) {
	for ; p.things[at] != nil; at.Which++ {
	}
	p.things[at], p.references[thing] = thing, at
}

// Of is the reference of a pointer into the study; zero for nil and for what is
// not of the study.
func (p *Places) Of(thing any) Reference { return p.references[thing] }

// Measurement is what a reference names, nil when it names no measurement of
// the study; likewise the others.
func (p *Places) Measurement(r Reference) *echo.Measurement {
	m, _ := p.things[r].(*echo.Measurement)
	return m
}

// Statement is the statement a reference names.
func (p *Places) Statement(r Reference) *echo.Statement {
	s, _ := p.things[r].(*echo.Statement)
	return s
}

// Segment is the segment a reference names.
func (p *Places) Segment(r Reference) *echo.Segment {
	s, _ := p.things[r].(*echo.Segment)
	return s
}

// Image is the image a reference names.
func (p *Places) Image(r Reference) *echo.Image {
	i, _ := p.things[r].(*echo.Image)
	return i
}
