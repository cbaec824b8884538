package handback

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"echotally/internal/coding"
	"echotally/internal/dcm"
	"echotally/internal/echo"
	"echotally/internal/handback/concern"
	"echotally/internal/handback/source"
	"echotally/internal/identifier"
	"echotally/internal/judgement"
	"echotally/internal/sr/made"
)

// SOP classes of what is handed back (PS3.4 annex B.5).
const (
	KeyObjectClass = "1.2.840.10008.5.1.4.1.1.88.59"
	TextClass      = "1.2.840.10008.5.1.4.1.1.88.11"
	PDFClass       = "1.2.840.10008.5.1.4.1.1.104.1"
)

// Transfer are the transfer syntaxes in which objects are written, the preferred first.
var Transfer = []string{dcm.ExplicitVRLittleEndian, dcm.ImplicitVRLittleEndian}

// Scheme is the coding scheme of our own codes (PS3.16 section 8.2: 99 begins a private
// one), SchemeUID names it in every object that uses it.
const (
	Scheme    = "99ECHOTALLY"
	SchemeUID = "2.25.396345014480430287096494959469842477"
)

// Kind is a kind of object.
type Kind string

// Kinds of object, as files of them are named.
const (
	QualityIssue Kind = "quality-issue" // key objects titled (113010, DCM, "Quality Issue")
	PeerReview   Kind = "peer-review"   // key objects titled (113008, DCM, "For Peer Review")
	Document     Kind = "gap-sheet"
	Report       Kind = "findings"
)

// series says what distinguishes the series of a kind.
var series = map[Kind]struct {
	class, modality, description string
	number                       int // high, so that it comes after the scanner's (site choice)
}{
	QualityIssue: {KeyObjectClass, "KO", "Quality audit: objects concerned", 9901},
	PeerReview:   {KeyObjectClass, "KO", "Quality audit: for peer review", 9902},
	Document:     {PDFClass, "DOC", "Quality audit: gap sheet", 9903},
	Report:       {TextClass, "SR", "Quality audit: findings", 9904},
}

// Facts are what a conformance statement tells of a kind.
type Facts struct {
	Kind            Kind
	Class, Modality string
	Title           string // the standard's code of a key object's title, "" for none
}

// Kinds tells of every kind, in the order of their series.
func Kinds() []Facts {
	var out []Facts
	for _, k := range []Kind{QualityIssue, PeerReview, Document, Report} {
		f := Facts{Kind: k, Class: series[k].class, Modality: series[k].modality}
		if t := titles[k]; t != nil {
			f.Title = fmt.Sprintf("(%s, %s, %q)", t.CodeValue, t.CodingSchemeDesignator, t.CodeMeaning)
		}
		out = append(out, f)
	}
	return out
}

// Maker makes objects about one study.
type Maker struct {
	Source      *source.Source
	Study       *echo.Study
	Judgement   *judgement.Judgement
	Software    string // version
	Institution string // where the program runs; "" for that of the report
	Complete    bool   // everything of the study was read
	Now         time.Time
}

// Object is an object to be handed back.
type Object struct {
	Kind     Kind
	Class    string
	Instance string
	Dataset  dcm.Dataset
}

// Write writes the object as a file.
func (o *Object) Write(w io.Writer) error { return dcm.Write(w, o.Dataset) }

// Encoded gives the data set alone, as it goes over the network.
func (o *Object) Encoded(transfer string) ([]byte, error) {
	var b bytes.Buffer
	err := dcm.WriteDataset(&b, o.Dataset, transfer)
	return b.Bytes(), err
}

// object completes what a kind of object says of itself. Identity is by what it says,
// or by says where its bytes hold the moment of writing.
func (m *Maker) object(kind Kind, body dcm.Dataset, says string) (*Object, error) {
	of := series[kind]
	d := m.Source.Header()
	d.Add(body.Elements...)
	institution := m.institution()
	d.Set(
		dcm.Strings(dcm.T(0x00080016), of.class), dcm.Strings(dcm.T(0x00080060), of.modality),
		dcm.Strings(dcm.T(0x00080070), made.Maker), dcm.Strings(dcm.T(0x00080080), optional(institution)...),
		dcm.Strings(dcm.T(0x00081090), made.Maker), dcm.Strings(dcm.T(0x00181020), m.Software),
		dcm.Strings(dcm.T(0x0008103E), of.description), dcm.Ints(dcm.T(0x00200011), of.number), dcm.Ints(dcm.T(0x00200013), 1),
		dcm.Strings(dcm.T(0x0020000E), uid("series", string(kind), m.Source.StudyInstanceUID, m.Software, institution)),
	)
	if kind != Document {
		d.Set(dcm.Sequence(dcm.T(0x00081111)), // no performed procedure step is known
			dcm.Sequence(dcm.T(0x00080110), dcm.New(dcm.Strings(dcm.T(0x00080102), Scheme), dcm.Strings(dcm.T(0x0008010C), SchemeUID),
				dcm.Strings(dcm.T(0x00080115), "Codes of echotally for what is found of a record"))))
	}
	var b bytes.Buffer
	if says == "" {
		if err := dcm.WriteDataset(&b, d, dcm.ExplicitVRLittleEndian); err != nil {
			return nil, err
		}
		says = b.String()
	}
	instance := uid("instance", string(kind), m.Source.StudyInstanceUID, m.Software, institution, says)
	now := m.moment()
	day, hour := now.Format("20060102"), now.Format("150405")
	d.Set(dcm.Strings(dcm.T(0x00080018), instance), dcm.Strings(dcm.T(0x00080012), day), dcm.Strings(dcm.T(0x00080013), hour),
		dcm.Strings(dcm.T(0x00080023), day), dcm.Strings(dcm.T(0x00080033), hour))
	out := &Object{kind, of.class, instance, d}
	return out, out.Write(io.Discard) // says what cannot be written before anything is
}

func (m *Maker) institution() string {
	text := []rune(m.Institution)
	if len(text) == 0 {
		text = []rune(m.Source.Institution)
	}
	return strings.ReplaceAll(string(text[:min(len(text), 64)]), `\`, " ")
}

func optional(text string) []string {
	if text == "" {
		return nil
	}
	return []string{text}
}

// moment is now, by the offset of the other times of the object.
func (m *Maker) moment() time.Time {
	header := m.Source.Header()
	at, err := time.Parse("-0700", header.Text(dcm.T(0x00080201)))
	if err != nil {
		return m.Now
	}
	return m.Now.In(at.Location())
}

// uid derives a UID from what an object is and says.
func uid(parts ...string) string {
	return identifier.Derive(append([]string{"echotally"}, parts...)...).UID()
}

// PDF is the gap sheet as a document of the study. Says is what the sheet says without
// the moment of printing, by which the object is known. The PDF has an even length and
// ends with a line end ([Even]): what takes it out drops a last byte that looks like
// padding.
func (m *Maker) PDF(pdf []byte, says string) (*Object, error) {
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) {
		return nil, errors.New("the gap sheet is not a PDF")
	}
	if len(pdf)%2 == 1 || pdf[len(pdf)-1] != '\n' {
		return nil, fmt.Errorf("a PDF of %d bytes that does not end with a line end: it would not come out as it went in", len(pdf))
	}
	return m.object(Document, dcm.New(
		dcm.Strings(dcm.T(0x00080064), "WSD"), dcm.Strings(dcm.T(0x0008002A)), // made on a workstation, of no acquisition
		dcm.Strings(dcm.T(0x00280301), "YES"), // it may name the patient
		dcm.Strings(dcm.T(0x00420010), "Gap sheet (quality audit of the record)"),
		dcm.Sequence(dcm.T(0x0040A043), made.Code(own("GAP-SHEET", "Gap sheet of a quality audit"))),
		dcm.Strings(dcm.T(0x0040A493), "UNVERIFIED"), dcm.Sequence(dcm.T(0x00420013), m.sources()...),
		dcm.Strings(dcm.T(0x00420012), "application/pdf"), dcm.Bytes(dcm.T(0x00420011), pdf),
	), says)
}

// Even adds line ends to a PDF, behind its end, until it comes out of an object as it
// went in.
func Even(pdf []byte) []byte {
	for len(pdf)%2 == 1 || len(pdf) > 0 && pdf[len(pdf)-1] != '\n' {
		pdf = append(pdf, '\n')
	}
	return pdf
}

// sources are the reports that the sheet is of.
func (m *Maker) sources() []dcm.Dataset {
	var out []dcm.Dataset
	for _, r := range concern.Reports(m.Study, m.Source) {
		out = append(out, dcm.New(dcm.Strings(dcm.T(0x00081150), r.SOPClassUID), dcm.Strings(dcm.T(0x00081155), r.SOPInstanceUID)))
	}
	return out
}

func own(value, meaning string) coding.CodedConcept {
	return coding.CodedConcept{CodeValue: value, CodingSchemeDesignator: Scheme, CodeMeaning: meaning}
}

func dicom(value, meaning string) *coding.CodedConcept {
	return &coding.CodedConcept{CodeValue: value, CodingSchemeDesignator: "DCM", CodeMeaning: meaning}
}
