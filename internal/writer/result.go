package writer

import (
	"encoding/json"
	"math"
	"math/big"
	"strconv"
	"time"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/run"
	"echotally/internal/writer/withhold"
)

// runRecord is what every machine document says about the run.
type runRecord struct {
	SchemaVersion   string         `json:"schemaVersion"`
	Caution         string         `json:"caution"`
	SoftwareVersion string         `json:"softwareVersion"`
	Created         string         `json:"created"`
	RuleSet         ruleSetRecord  `json:"ruleSet"`
	Unread          []objectRecord `json:"unread"`
}

type ruleSetRecord struct {
	Version string `json:"version"`
	Digest  string `json:"digest"`
	Rules   int    `json:"rules"`
	Edition string `json:"edition"`
}

// checkRecord is what a check says once, before the studies. Schema file:
// schema/check.schema.json.
type checkRecord struct {
	runRecord
	Rules []ruleRecord `json:"rules"`
}

// ruleRecord is what a rule says of itself.
type ruleRecord struct {
	Identifier string        `json:"identifier"`
	Version    string        `json:"version"`
	Title      string        `json:"title"`
	Kind       string        `json:"kind"`
	Severity   string        `json:"severity"`
	Usage      string        `json:"usage,omitempty"`
	Source     string        `json:"source,omitempty"`
	Measurands []string      `json:"measurands,omitempty"`
	Obtain     *obtainRecord `json:"obtain,omitempty"`
	PerLab     bool          `json:"perLab,omitempty"` // a matter of how the lab reports: on no sheet
}

type obtainRecord struct {
	Window string `json:"window"`
	View   string `json:"view,omitempty"`
	How    string `json:"how,omitempty"`
}

type objectRecord struct {
	Path           string `json:"path"`
	SHA256         string `json:"sha256,omitempty"`
	SOPInstanceUID string `json:"sopInstanceUID"`
	SOPClassUID    string `json:"sopClassUID,omitempty"`
	State          string `json:"state"`
	Reason         string `json:"reason"`
	Hint           string `json:"hint,omitempty"`
}

// studyRecord is one study. What several results rely on is in it once.
type studyRecord struct {
	StudyInstanceUID string           `json:"studyInstanceUID"`
	StudyDate        string           `json:"studyDate"`
	Failed           string           `json:"failed,omitempty"`
	Objects          []objectRecord   `json:"objects"`
	Protocol         *protocolRecord  `json:"protocol"` // null when no report was read
	Triggered        []protocolRecord `json:"triggered"`
	Measurements     int              `json:"measurements"`
	Images           int              `json:"images"`
	Outcomes         map[string]int   `json:"outcomes"`
	Documents        []string         `json:"documents"`
	Evidence         []evidenceRecord `json:"evidence"`
	Results          []resultRecord   `json:"results"`
	NotApplicable    []string         `json:"notApplicable"`

	Reconciliation *reconciliationRecord `json:"reconciliation,omitempty"`
}

type protocolRecord struct {
	Identifier string `json:"identifier"`
	Title      string `json:"title"`
	Declared   bool   `json:"declared"`
	Reason     string `json:"reason"`
}

// resultRecord is the result of one rule. What is absent is empty.
type resultRecord struct {
	Rule          string          `json:"rule"`
	Outcome       string          `json:"outcome"`
	Severity      string          `json:"severity,omitempty"` // absent of a pass of the rule's own severity
	Message       string          `json:"message,omitempty"`
	Missing       []string        `json:"missing,omitempty"`
	MissingDetail []missingRecord `json:"missingDetail,omitempty"`
	Evidence      []int           `json:"evidence,omitempty"` // places in the study's evidence
	Causes        []causeRecord   `json:"causes,omitempty"`
	Suspect       string          `json:"suspect,omitempty"`
	Variant       string          `json:"variant,omitempty"`
}

type missingRecord struct {
	Measurand string `json:"measurand"`
	Title     string `json:"title"`
	Reason    string `json:"reason"`
}

type causeRecord struct {
	Identifier string `json:"identifier"`
	Text       string `json:"text"`
	Measurand  string `json:"measurand,omitempty"`
}

// evidenceRecord is one value or statement that results rely on. The text and
// the value in the measurand's unit are there where the value does not say the
// same.
type evidenceRecord struct {
	Measurand      string  `json:"measurand,omitempty"`
	Value          *finite `json:"value,omitempty"`
	ValueText      string  `json:"valueText,omitempty"`
	Unit           string  `json:"unit,omitempty"`
	CanonicalValue *finite `json:"canonicalValue,omitempty"`
	CanonicalUnit  string  `json:"canonicalUnit,omitempty"`
	Statement      string  `json:"statement,omitempty"`
	Negated        bool    `json:"negated,omitempty"`
	Segment        string  `json:"segment,omitempty"`
	Quote          string  `json:"quote,omitempty"`
	Image          int     `json:"image,omitempty"`
	Note           string  `json:"note,omitempty"`
	Document       int     `json:"document,omitempty"` // place in the study's documents
	Item           string  `json:"item,omitempty"`
}

// finite is a number for JSON: null when it is not finite.
type finite float64

// MarshalJSON writes the number or null.
func (d finite) MarshalJSON() ([]byte, error) {
	if x := float64(d); !math.IsNaN(x) && !math.IsInf(x, 0) {
		return json.Marshal(x)
	}
	return []byte("null"), nil
}

// short is a computed number with the digits that mean something.
func short(x float64) finite {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 6, 64), 64)
	if err != nil {
		return finite(x) // not finite
	}
	return finite(rounded)
}

func finiteOf(r *big.Rat) *finite {
	if x := number(r); x != nil {
		d := finite(*x)
		return &d
	}
	return nil
}

func newRunRecord(r *run.Run) runRecord {
	return runRecord{
		SchemaVersion: SchemaVersion, Caution: layout.Caution, SoftwareVersion: r.SoftwareVersion,
		Created: r.Created.UTC().Format(time.RFC3339), Unread: objectRecords(r.Unread),
		RuleSet: ruleSetRecord{r.RuleSet.Version, r.RuleSet.Digest, r.RuleSet.Rules, r.RuleSet.Edition},
	}
}

func newCheckRecord(r *run.Run) checkRecord {
	out := checkRecord{runRecord: newRunRecord(r), Rules: []ruleRecord{}}
	for _, a := range r.Rules() {
		one := ruleRecord{Identifier: a.Identifier, Version: a.Version, Title: a.Title, Kind: string(a.Kind), Severity: string(a.Severity),
			Usage: a.Usage, Source: a.Source, Measurands: a.Measurands, PerLab: a.PerLab}
		if a.Obtain != nil {
			one.Obtain = &obtainRecord{a.Obtain.Window, a.Obtain.View, a.Obtain.How}
		}
		out.Rules = append(out.Rules, one)
	}
	return out
}

func objectRecords(objects []run.Object) []objectRecord {
	out := make([]objectRecord, 0, len(objects))
	for _, o := range objects {
		out = append(out, objectRecord{o.Path, o.SHA256, o.SOPInstanceUID, o.SOPClassUID, string(o.State), o.Reason, o.Hint})
	}
	return out
}

func newStudyRecord(s *run.Study) studyRecord {
	r := studyRecord{
		StudyInstanceUID: s.StudyInstanceUID, Failed: s.Failed, Objects: objectRecords(s.Objects), Triggered: []protocolRecord{}, Outcomes: map[string]int{},
		Documents: []string{}, Evidence: []evidenceRecord{}, Results: []resultRecord{}, NotApplicable: []string{},
	}
	j := s.Judgement
	if j == nil {
		return r
	}
	r.StudyDate, r.Measurements = s.Study.StudyDate, len(s.Study.Measurements)
	r.Images = s.Images()
	who := withhold.New(s.Study.Identity)
	base := newProtocolRecord(who, j.Protocols.Base)
	r.Protocol = &base
	for _, p := range j.Protocols.Triggered {
		r.Triggered = append(r.Triggered, newProtocolRecord(who, p))
	}
	r.Reconciliation = newReconciliationRecord(j.Reconciliation)
	b := &studyRecorder{record: &r, who: who, documents: map[string]int{}, evidence: map[finding.Evidence]int{}}
	for i := range j.Results {
		r.Outcomes[string(j.Results[i].Outcome)]++
		r.Results = append(r.Results, b.result(&j.Results[i]))
	}
	for _, a := range j.NotApplicable {
		r.NotApplicable = append(r.NotApplicable, a.Rule)
	}
	if n := len(j.NotApplicable); n > 0 {
		r.Outcomes[string(finding.NotApplicable)] = n
	}
	return r
}

func newProtocolRecord(who *withhold.Withholder, p finding.Chosen) protocolRecord {
	return protocolRecord{p.Identifier, p.Title, p.Declared, who.From(p.Reason)}
}

// studyRecorder records the results of a study, and once what they rely on.
type studyRecorder struct {
	record    *studyRecord
	who       *withhold.Withholder
	documents map[string]int
	evidence  map[finding.Evidence]int
}

func (b *studyRecorder) result(f *finding.Result) resultRecord {
	r := resultRecord{
		Rule: f.Rule, Outcome: string(f.Outcome), Severity: string(f.Severity), Message: b.who.From(f.Message), Suspect: f.Suspect, Variant: f.Variant,
	}
	if f.Outcome == finding.Pass && f.About != nil && f.Severity == f.About.Severity {
		r.Severity = ""
	}
	for _, m := range f.Missing {
		r.Missing = append(r.Missing, m.Measurand)
		r.MissingDetail = append(r.MissingDetail, missingRecord{m.Measurand, m.Title, m.Reason})
	}
	for _, c := range f.Causes {
		r.Causes = append(r.Causes, causeRecord{c.Identifier, c.Text, c.Measurand})
	}
	for _, e := range f.Evidence {
		e.Alias = "" // what it is called in this rule
		at, known := b.evidence[e]
		if !known {
			at = len(b.record.Evidence)
			b.evidence[e] = at
			b.record.Evidence = append(b.record.Evidence, b.relied(e))
		}
		r.Evidence = append(r.Evidence, at)
	}
	return r
}

func (b *studyRecorder) document(uid string) int {
	at, known := b.documents[uid]
	if !known {
		at = len(b.record.Documents)
		b.documents[uid] = at
		b.record.Documents = append(b.record.Documents, uid)
	}
	return at
}

func (b *studyRecorder) relied(e finding.Evidence) evidenceRecord {
	switch {
	case e.Measurement != nil:
		return b.value(e.Measurement, e.Note)
	case e.Statement != nil:
		t := e.Statement
		return evidenceRecord{
			Statement: t.Identifier, Negated: t.Negated, Quote: b.who.From(t.Quote), Note: e.Note, Document: b.document(t.Source.SOPInstanceUID), Item: t.Source.Item,
		}
	case e.Segment != nil:
		s := e.Segment
		return evidenceRecord{
			Segment: s.Site.Key().String(), Quote: b.who.From(segmentText(s)), Note: e.Note, Document: b.document(s.Source.SOPInstanceUID), Item: s.Source.Item,
		}
	case e.Image != nil:
		return evidenceRecord{Image: e.Image.Number, Note: e.Note, Document: b.document(e.Image.SOPInstanceUID)}
	}
	return evidenceRecord{Note: e.Note}
}

func (b *studyRecorder) value(m *echo.Measurement, note string) evidenceRecord {
	out := evidenceRecord{
		Measurand: m.Measurand, ValueText: m.ValueText, Unit: m.Unit.CodeValue, Note: note,
		Document: b.document(m.Source.SOPInstanceUID), Item: m.Source.Item,
	}
	if x := writtenNumber(m); x != nil {
		d := finite(*x)
		out.Value = &d
		if text, err := json.Marshal(d); err == nil && string(text) == m.ValueText {
			out.ValueText = ""
		}
	}
	if m.Canonical != nil && (out.Value == nil || m.Canonical.Unit.Code() != m.Unit.CodeValue) {
		out.CanonicalValue, out.CanonicalUnit = finiteOf(m.Canonical.Value.Rat()), m.Canonical.Unit.Code()
	}
	return out
}
