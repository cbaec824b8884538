package sr

import (
	"errors"
	"fmt"
	"strings"

	"echotally/internal/coding"
	"echotally/internal/dcm"
)

// KeyObjectSelection is the SOP class of key object selection documents.
const KeyObjectSelection = "1.2.840.10008.5.1.4.1.1.88.59"

// IsStructuredReport reports whether the SOP class is one this package reads:
// the SR storage classes and Key Object Selection.
func IsStructuredReport(sopClassUID string) bool { return dcm.IsReport(sopClassUID) }

// Parse builds the document from a read file. An error says what is missing;
// it carries no patient data.
func Parse(f *dcm.File) (*Document, error) {
	if f == nil {
		return nil, errors.New("parse structured report: no file was read")
	}
	p := &parser{doc: &Document{Losses: append([]dcm.Loss(nil), f.Losses...)}, codebook: codebooks.Get().(*codebook)}
	p.document++
	defer func() {
		p.codes = min(len(p.doc.Codes), len(p.places))
		codebooks.Put(p.codebook)
	}()
	for _, d := range f.Deviations {
		p.doc.Deviations = append(p.doc.Deviations, Deviation{Item: itemOfTagPath(d.TagPath), Clause: d.Clause, Detail: d.Detail})
	}
	if err := p.identify(f); err != nil {
		return nil, err
	}
	p.header(f.Dataset)
	if err := p.root(f.Dataset); err != nil {
		return nil, err
	}
	p.resolveReferences()
	return p.doc, nil
}

// parser carries the document under construction.
type parser struct {
	doc        *Document
	references []*ContentItem // by-reference items in document order

	*codebook
	values store[MeasuredValue]
	rare   store[Particulars]
	paths  []uint32 // room for identifiers
}

// store makes room for many values at once, the more the more there were.
type store[T any] struct {
	room []T
	made int
}

// next is room for one more.
func (s *store[T]) next() *T {
	if len(s.room) == 0 {
		s.made = min(max(8, 2*s.made), 64)
		s.room = make([]T, s.made)
	}
	next := &s.room[0]
	s.room = s.room[1:]
	return next
}

// child is [ItemIdentifier.Child].
func (p *parser) child(id ItemIdentifier, n int) ItemIdentifier {
	size := len(id) + 1
	if len(p.paths) < size {
		p.paths = make([]uint32, max(512, size))
	}
	out := ItemIdentifier(p.paths[:size:size])
	p.paths = p.paths[size:]
	copy(out, id)
	out[size-1] = uint32(n)
	return out
}

// deviate records a tolerated departure at an item; nil is the header.
func (p *parser) deviate(id ItemIdentifier, clause, format string, args ...any) {
	p.doc.Deviations = append(p.doc.Deviations, Deviation{Item: id.String(), Clause: clause, Detail: fmt.Sprintf(format, args...)})
}

// lost records a part of the tree that is not read.
func (p *parser) lost(tagPath, reason string) {
	p.doc.Losses = append(p.doc.Losses, dcm.Loss{Offset: -1, TagPath: tagPath, Reason: reason})
}

// identify reads the UIDs without which an object has no place.
func (p *parser) identify(f *dcm.File) error {
	d, doc := f.Dataset, p.doc
	doc.SOPClassUID, doc.SOPInstanceUID = d.UID(tagSOPClassUID), d.UID(tagSOPInstanceUID)
	if doc.SOPClassUID == "" {
		if doc.SOPClassUID = f.Meta.UID(tagMediaStorageSOPClassUID); doc.SOPClassUID != "" {
			p.deviate(nil, "PS3.3 C.12.1", "SOP Class UID (0008,0016) is missing; taken from the meta header")
		}
	}
	if doc.SOPInstanceUID == "" {
		if doc.SOPInstanceUID = f.Meta.UID(tagMediaStorageSOPInstanceUID); doc.SOPInstanceUID != "" {
			p.deviate(nil, "PS3.3 C.12.1", "SOP Instance UID (0008,0018) is missing; taken from the meta header")
		}
	}
	switch {
	case doc.SOPClassUID == "":
		return errors.New("parse structured report: SOP Class UID (0008,0016) is missing")
	case !IsStructuredReport(doc.SOPClassUID):
		return fmt.Errorf("parse structured report: SOP class %s is not a structured report", printable(doc.SOPClassUID))
	case doc.SOPInstanceUID == "":
		p.deviate(nil, "PS3.3 C.12.1", "SOP Instance UID (0008,0018) is missing: nothing can point at this report")
	}
	doc.StudyInstanceUID, doc.SeriesInstanceUID = d.UID(tagStudyInstanceUID), d.UID(tagSeriesInstanceUID)
	if doc.StudyInstanceUID == "" {
		p.lost("(0020,000D)", "no Study Instance UID: to which study the report belongs is not known")
	}
	if doc.SeriesInstanceUID == "" {
		p.deviate(nil, "PS3.3 C.17.1", "Series Instance UID (0020,000E) is missing")
	}
	return nil
}

// header reads the attributes beside the tree.
func (p *parser) header(d dcm.Dataset) {
	doc := p.doc
	doc.Modality = d.Text(tagModality)
	doc.Manufacturer, doc.ManufacturerModelName = d.Text(tagManufacturer), d.Text(tagManufacturerModelName)
	doc.SoftwareVersions, doc.StationName = strings.Join(d.Texts(tagSoftwareVersions), ", "), d.Text(tagStationName)
	doc.StudyDate, doc.StudyTime = d.Text(tagStudyDate), d.Text(tagStudyTime)
	doc.ContentDate, doc.ContentTime = d.Text(tagContentDate), d.Text(tagContentTime)
	doc.StudyDescription = d.Text(tagStudyDescription)
	for _, code := range d.Sequence(tagProcedureCodeSequence) {
		doc.ProcedureCodes = append(doc.ProcedureCodes, readCode(code))
	}
	doc.CompletionFlag, doc.VerificationFlag = d.Text(tagCompletionFlag), d.Text(tagVerificationFlag)
	doc.PreliminaryFlag = d.Text(tagPreliminaryFlag)
	if doc.CompletionFlag == "" && doc.SOPClassUID != KeyObjectSelection {
		p.deviate(nil, "PS3.3 C.17.2", "Completion Flag (0040,A491) is missing")
	}
	if doc.VerificationFlag == "" && doc.SOPClassUID != KeyObjectSelection {
		p.deviate(nil, "PS3.3 C.17.2", "Verification Flag (0040,A493) is missing")
	}
	doc.PredecessorDocuments = instanceReferences(d.Sequence(tagPredecessorDocuments))
	doc.IdenticalDocuments = instanceReferences(d.Sequence(tagIdenticalDocuments))
	doc.Patient = Patient{
		Name: d.Text(tagPatientName), ID: d.Text(tagPatientID), BirthDate: d.Text(tagPatientBirthDate),
		IssuerOfID: d.Text(tagIssuerOfPatientID),
		Sex:        d.Text(tagPatientSex), Age: d.Text(tagPatientAge),
		Size: d.Text(tagPatientSize), Weight: d.Text(tagPatientWeight), AccessionNumber: d.Text(tagAccessionNumber),
		Anonymous: d.Text(tagPatientIdentityRemoved) == "YES",
	}
	doc.Authors = authors(d)
	doc.Operators, doc.ReadingPhysicians = d.Texts(tagOperatorsName), d.Texts(tagPhysiciansReadingStudy)
	for _, v := range d.Sequence(tagVerifyingObserverSequence) {
		doc.Verifiers = append(doc.Verifiers, v.Text(tagVerifyingObserverName))
	}
}

// root reads the root CONTAINER and all below it.
func (p *parser) root(d dcm.Dataset) error {
	item := &p.doc.ContentItem
	id := ItemIdentifier{1}
	switch vt := ValueType(d.Text(tagValueType)); {
	case !d.Has(tagContentSequence):
		return errors.New("parse structured report: Content Sequence (0040,A730) is missing: the report has no content or has lost it")
	case vt == "":
		p.deviate(id, "PS3.3 C.17.3", "Value Type (0040,A040) of the root is missing; read as CONTAINER")
	case vt != ContainerValue:
		return fmt.Errorf("parse structured report: the root is %s, not CONTAINER (PS3.3 C.17.3)", printable(string(vt)))
	}
	p.fill(item, d, id, 1)
	item.ValueType = ContainerValue
	if item.RelationshipType != "" {
		p.deviate(id, "PS3.3 C.17.3", "the root states a Relationship Type")
		item.RelationshipType = ""
	}
	if item.ConceptName.IsZero() {
		p.deviate(id, "PS3.3 C.17.3", "the document title (Concept Name Code Sequence) is missing")
	}
	if len(item.ContentItems) == 0 {
		p.deviate(id, "PS3.3 C.17.3", "Content Sequence (0040,A730) is present and empty")
	}
	if seq := d.Sequence(tagContentTemplateSequence); len(seq) > 0 {
		p.doc.TemplateIdentifier = seq[0].Text(tagTemplateIdentifier)
		p.doc.MappingResource = seq[0].Text(tagMappingResource)
	}
	return nil
}

// readCode reads one coded entry; the value may stand in Code Value, Long Code
// Value or URN Code Value (PS3.3 8.1).
func readCode(d dcm.Dataset) coding.CodedConcept {
	value := d.Text(tagCodeValue)
	if value == "" {
		if value = d.Text(tagLongCodeValue); value == "" {
			value = d.Text(tagURNCodeValue)
		}
	}
	return coding.CodedConcept{
		CodeValue: value, CodingSchemeDesignator: d.Text(tagCodingSchemeDesignator),
		CodingSchemeVersion: d.Text(tagCodingSchemeVersion), CodeMeaning: d.Text(tagCodeMeaning),
	}
}

// code reads a code sequence of an item with its canonical identity; nil when it is absent or empty. Items with the same code share it.
func (p *parser) code(d dcm.Dataset, t dcm.Tag, id ItemIdentifier, keyword string) *entry {
	items := d.Sequence(t)
	if len(items) == 0 {
		return nil
	}
	if len(items) > 1 {
		p.deviate(id, "PS3.3 C.18", "%s has %d items where one is allowed; the first is read", keyword, len(items))
	}
	c := p.coded(items[0])
	if c.code.Concept.CodeValue == "" {
		p.deviate(id, "PS3.3 8.1", "%s has no code value", keyword)
	}
	return c
}

// instanceReferences flattens the hierarchical reference macro (PS3.3 Table
// C.17-3): study, series, instance.
func instanceReferences(studies []dcm.Dataset) []InstanceReference {
	var out []InstanceReference
	for _, study := range studies {
		for _, series := range study.Sequence(tagReferencedSeriesSequence) {
			for _, r := range series.Sequence(tagReferencedSOPSequence) {
				out = append(out, InstanceReference{
					StudyInstanceUID: study.Text(tagStudyInstanceUID), SeriesInstanceUID: series.Text(tagSeriesInstanceUID),
					SOPClassUID: r.Text(tagReferencedSOPClassUID), SOPInstanceUID: r.Text(tagReferencedSOPInstanceUID),
				})
			}
		}
	}
	return out
}

// itemOfTagPath turns "(0040,A730)[3]/(0040,A730)[1]/(0040,A300)[1]" into the
// position path of the content item it lies in, "1.3.1"; "" for the header.
func itemOfTagPath(path string) string {
	id := ItemIdentifier{1}
	for step := range strings.SplitSeq(path, "/") {
		var n int
		if _, err := fmt.Sscanf(strings.ToUpper(step), "(0040,A730)[%d]", &n); err != nil || n < 1 {
			break
		}
		id = id.Child(n)
	}
	if len(id) == 1 {
		return ""
	}
	return id.String()
}

// printable keeps a defined term or UID of a foreign file fit for a message:
// short, and only of characters such terms are made of.
func printable(s string) string {
	if len(s) > 64 {
		s = s[:64]
	}
	return strings.Map(func(r rune) rune {
		switch {
		case r >= '0' && r <= '9', r >= 'A' && r <= 'Z', r >= 'a' && r <= 'z', r == '.', r == ' ', r == '_':
			return r
		}
		return '?'
	}, s)
}
