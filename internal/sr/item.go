package sr

import (
	"fmt"
	"strconv"
	"strings"

	"echotally/internal/dcm"
)

// maxDepth bounds the content tree. Templates nest about ten levels; what lies
// deeper is not read and recorded as lost.
const maxDepth = 128

// fill reads one content item and, below it, its children.
func (p *parser) fill(item *ContentItem, d dcm.Dataset, id ItemIdentifier, depth int) {
	item.Identifier, item.ConceptName, item.Particulars = id, &noConcept, &noParticulars
	item.RelationshipType = RelationshipType(d.Text(tagRelationshipType))
	item.ValueType = p.valueType(d, id)
	if at := d.Text(tagObservationDateTime); at != "" {
		p.particulars(item).ObservationDateTime = at
	}
	if name := p.code(d, tagConceptName, id, "Concept Name Code Sequence"); name != nil {
		item.ConceptName, item.Name, item.NameNumber = &name.code.Concept, name.code.Key, name.number
	}
	if ref := d.Ints(tagReferencedContentItem); len(ref) > 0 {
		if item.ValueType == "" {
			p.byReference(item, d, ref)
			return
		}
		p.deviate(id, "PS3.3 C.17.3", "an item by value also states Referenced Content Item Identifier (0040,DB73); read by value")
	}
	p.value(item, d)
	p.strayContent(d, id)
	children := d.Sequence(tagContentSequence)
	if len(children) == 0 {
		return
	}
	if depth >= maxDepth {
		p.lost(tagPath(id), fmt.Sprintf("content items nested deeper than %d levels", maxDepth))
		return
	}
	item.ContentItems = make([]ContentItem, len(children))
	observes := false
	for i, c := range children {
		child := &item.ContentItems[i]
		p.fill(child, c, p.child(id, i+1), depth+1)
		p.relationship(item, child)
		observes = observes || child.RelationshipType == HasObsContext
	}
	if observes {
		item.context = contextOf(item)
	}
}

// particulars makes room for what few items have.
func (p *parser) particulars(item *ContentItem) *Particulars {
	if item.Particulars == &noParticulars || item.Particulars == nil {
		item.Particulars = p.rare.next()
	}
	return item.Particulars
}

// strayContent records content items that stand under another tag than that of the
// Content Sequence.
func (p *parser) strayContent(d dcm.Dataset, id ItemIdentifier) {
	if len(id) == 1 {
		return // the header's sequences are others' matter
	}
	for i := range d.Elements {
		e := &d.Elements[i]
		if e.VR() != "SQ" || e.Tag == tagContentSequence || e.Tag == tagMeasuredValueSequence || e.Tag == tagConceptName || e.Tag == tagConceptCode {
			continue
		}
		if items := d.Sequence(e.Tag); len(items) > 0 && items[0].Has(tagValueType) {
			p.lost(tagPath(id), "content items under the tag "+e.Tag.String()+", which is not that of the Content Sequence")
		}
	}
}

// byReference reads an item that only points at another one.
func (p *parser) byReference(item *ContentItem, d dcm.Dataset, path []int64) {
	var to ItemIdentifier
	for _, n := range path {
		if n < 0 || n > 1<<32-1 {
			n = 0 // no position is 0: stays dangling
		}
		to = append(to, uint32(n))
	}
	p.particulars(item).Reference = to
	if d.Has(tagContentSequence) {
		p.deviate(item.Identifier, "PS3.3 C.17.3", "a by-reference item has content of its own; it is not read")
		p.lost(tagPath(item.Identifier), "content below a by-reference item")
	}
	p.references = append(p.references, item)
}

// valueType returns the stated value type, or the one the attributes of the
// item betray.
func (p *parser) valueType(d dcm.Dataset, id ItemIdentifier) ValueType {
	stated := ValueType(d.Text(tagValueType))
	switch stated {
	case ContainerValue, TextValue, CodeValue, NumValue, DateTimeValue, DateValue, TimeValue, UIDRefValue,
		PNameValue, ImageValue, WaveformValue, CompositeValue, SCoordValue, SCoord3DValue, TCoordValue:
		return stated
	case "":
		if d.Has(tagReferencedContentItem) {
			return ""
		}
	}
	what := "is missing"
	if stated != "" {
		what = fmt.Sprintf("%q is no defined term", printable(string(stated)))
	}
	for _, b := range betraying {
		if d.Has(b.tag) {
			p.deviate(id, "PS3.3 C.17.3", "Value Type (0040,A040) %s; read as %s", what, b.vt)
			return b.vt
		}
	}
	p.deviate(id, "PS3.3 C.17.3", "Value Type (0040,A040) %s and nothing in the item tells it", what)
	return stated
}

// betraying lists attributes that tell the value type of an item that states none.
var betraying = []struct {
	tag dcm.Tag
	vt  ValueType
}{
	{tagMeasuredValueSequence, NumValue}, {tagConceptCode, CodeValue}, {tagTextValue, TextValue},
	{tagDateTime, DateTimeValue}, {tagDate, DateValue}, {tagTime, TimeValue}, {tagPersonName, PNameValue},
	{tagUID, UIDRefValue}, {tagContinuityOfContent, ContainerValue}, {tagContentSequence, ContainerValue},
}

// textTag says where the text of a value type stands.
func textTag(vt ValueType) (dcm.Tag, bool) {
	switch vt {
	case TextValue:
		return tagTextValue, true
	case DateTimeValue:
		return tagDateTime, true
	case DateValue:
		return tagDate, true
	case TimeValue:
		return tagTime, true
	case UIDRefValue:
		return tagUID, true
	case PNameValue:
		return tagPersonName, true
	}
	return dcm.Tag{}, false
}

// value reads what the item states, by value type.
func (p *parser) value(item *ContentItem, d dcm.Dataset) {
	id := item.Identifier
	if item.ConceptName.IsZero() && nameRequired(item.ValueType) {
		p.deviate(id, "PS3.3 C.17.3", "a %s item has no concept name", item.ValueType)
	}
	if item.ValueType != NumValue && d.Has(tagMeasuredValueSequence) {
		p.lost(tagPath(id), fmt.Sprintf("a measured value in an item whose value type is %q", printable(string(item.ValueType))))
	}
	if t, ok := textTag(item.ValueType); ok {
		if item.Text = d.Text(t); item.Text == "" {
			p.deviate(id, "PS3.3 C.18", "a %s item has no value", item.ValueType)
		}
		return
	}
	switch item.ValueType {
	case NumValue:
		p.doc.Numbers++
		item.MeasuredValue = p.measuredValue(d, id)
	case CodeValue:
		if code := p.code(d, tagConceptCode, id, "Concept Code Sequence"); code != nil {
			item.ConceptCode, item.Code, item.CodeNumber = &code.code.Concept, code.code.Key, code.number
		} else {
			p.deviate(id, "PS3.3 C.18.2", "a CODE item has no Concept Code Sequence (0040,A168)")
		}
	case ImageValue, WaveformValue, CompositeValue:
		p.particulars(item).References = p.objectReferences(d, id, item.ValueType)
	case SCoordValue, SCoord3DValue:
		rare := p.particulars(item)
		if rare.GraphicType, rare.GraphicData = d.Text(tagGraphicType), d.Floats(tagGraphicData); rare.GraphicType == "" {
			p.deviate(id, "PS3.3 C.18.6", "Graphic Type (0070,0023) is missing")
		}
	case TCoordValue:
		rare := p.particulars(item)
		rare.GraphicType, rare.GraphicData = d.Text(tagTemporalRangeType), temporalData(d)
	case ContainerValue:
		if !d.Has(tagContinuityOfContent) {
			p.deviate(id, "PS3.3 C.18.8", "Continuity Of Content (0040,A050) is missing")
		}
		if seq := d.Sequence(tagContentTemplateSequence); len(seq) > 0 {
			p.particulars(item).TemplateIdentifier = seq[0].Text(tagTemplateIdentifier)
		}
	}
}

// nameRequired tells the value types whose concept name PS3.3 C.17.3 demands
// always; CONTAINER, IMAGE and the like may go without.
func nameRequired(vt ValueType) bool {
	_, isText := textTag(vt)
	return isText || vt == NumValue || vt == CodeValue
}

// measuredValue reads a NUM item's number. It is never nil: an empty one says
// that no value was stated.
func (p *parser) measuredValue(d dcm.Dataset, id ItemIdentifier) *MeasuredValue {
	mv := p.values.next()
	if qualifier := p.code(d, tagNumericValueQualifier, id, "Numeric Value Qualifier Code Sequence"); qualifier != nil {
		mv.Qualifier = &qualifier.code.Concept
	}
	items := d.Sequence(tagMeasuredValueSequence)
	switch {
	case len(items) > 1:
		p.deviate(id, "PS3.3 C.18.1", "Measured Value Sequence has %d items where at most one is allowed", len(items))
	case len(items) == 0 && d.Has(tagNumericValue):
		p.deviate(id, "PS3.3 C.18.1", "Numeric Value (0040,A30A) stands outside Measured Value Sequence")
		items = []dcm.Dataset{d}
	case !d.Has(tagMeasuredValueSequence):
		p.deviate(id, "PS3.3 C.18.1", "Measured Value Sequence (0040,A300) is missing")
	}
	for i, m := range items {
		if i > 0 {
			mv.ExtraValues = append(mv.ExtraValues, m.Texts(tagNumericValue)...)
			continue
		}
		mv.NumericValue = m.Text(tagNumericValue)
		if n := m.Values(tagNumericValue); n > 1 {
			mv.ExtraValues = m.Texts(tagNumericValue)[1:]
			p.deviate(id, "PS3.3 C.18.1", "Numeric Value (0040,A30A) has %d values where one is allowed", n)
		}
		if units := p.code(m, tagMeasurementUnits, id, "Measurement Units Code Sequence"); units != nil {
			mv.Units, mv.UnitsNumber = units.code.Concept, units.number
		} else {
			p.deviate(id, "PS3.3 C.18.1", "Measurement Units Code Sequence (0040,08EA) is missing")
		}
		p.exactValue(mv, m, id)
	}
	return mv
}

// exactValue reads the representations that may accompany the decimal string.
func (p *parser) exactValue(mv *MeasuredValue, m dcm.Dataset, id ItemIdentifier) {
	if f := m.Floats(tagFloatingPointValue); len(f) > 0 {
		mv.FloatingPoint = &f[0]
	}
	if n := m.Ints(tagRationalNumerator); len(n) > 0 {
		mv.Numerator = &n[0]
	}
	if den := m.Ints(tagRationalDenominator); len(den) > 0 && den[0] >= 0 {
		u := uint64(den[0])
		mv.Denominator = &u
	}
	if (mv.Numerator == nil) != (mv.Denominator == nil) {
		p.deviate(id, "PS3.3 C.18.1", "Rational Numerator Value and Rational Denominator Value do not come together")
	}
}

// objectReferences reads what an IMAGE, WAVEFORM or COMPOSITE item points at.
func (p *parser) objectReferences(d dcm.Dataset, id ItemIdentifier, vt ValueType) []InstanceReference {
	var out []InstanceReference
	for _, r := range d.Sequence(tagReferencedSOPSequence) {
		ref := InstanceReference{SOPClassUID: r.Text(tagReferencedSOPClassUID), SOPInstanceUID: r.Text(tagReferencedSOPInstanceUID)}
		for _, n := range r.Ints(tagReferencedFrameNumber) {
			ref.Frames = append(ref.Frames, int(n))
		}
		if ref.SOPInstanceUID == "" {
			p.deviate(id, "PS3.3 C.18.3", "Referenced SOP Instance UID (0008,1155) is missing")
		}
		out = append(out, ref)
	}
	if len(out) == 0 {
		p.deviate(id, "PS3.3 C.18.3", "a %s item refers to nothing: Referenced SOP Sequence (0008,1199) is missing", vt)
	}
	return out
}

// temporalData reads the sample positions or time offsets of a TCOORD item.
func temporalData(d dcm.Dataset) []float64 {
	var out []float64
	for _, n := range d.Ints(tagReferencedSamplePositions) {
		out = append(out, float64(n))
	}
	for _, s := range d.Texts(tagReferencedTimeOffsets) {
		if f, err := strconv.ParseFloat(s, 64); err == nil {
			out = append(out, f)
		}
	}
	return out
}

// tagPath gives the DICOM attribute path of an item.
func tagPath(id ItemIdentifier) string {
	steps := make([]string, 0, len(id))
	for _, n := range id[1:] {
		steps = append(steps, fmt.Sprintf("(0040,A730)[%d]", n))
	}
	return strings.Join(steps, "/")
}
