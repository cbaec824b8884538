package writer

import (
	"time"

	"echotally/internal/finding"
	"echotally/internal/run"
)

// runRecord is what every machine document says about the run.
type runRecord struct {
	SchemaVersion   string        `json:"schemaVersion"`
	Caution         string        `json:"caution"`
	SoftwareVersion string        `json:"softwareVersion"`
	Created         string        `json:"created"`
	RuleSet         ruleSetRecord `json:"ruleSet"`
}

type ruleSetRecord struct {
	Version string `json:"version"`
	Digest  string `json:"digest"`
	Rules   int    `json:"rules"`
	Edition string `json:"edition"`
}

// checkRecord is the whole result of a check. Schema file:
// schema/check.schema.json.
type checkRecord struct {
	runRecord
	Studies []studyRecord  `json:"studies"`
	Unread  []objectRecord `json:"unread"`
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

type studyRecord struct {
	StudyInstanceUID string           `json:"studyInstanceUID"`
	StudyDate        string           `json:"studyDate"`
	Objects          []objectRecord   `json:"objects"`
	Protocol         *protocolRecord  `json:"protocol"` // null when no report was read
	Triggered        []protocolRecord `json:"triggered"`
	Measurements     int              `json:"measurements"`
	Images           int              `json:"images"`
	Outcomes         map[string]int   `json:"outcomes"`
	Results          []resultRecord   `json:"results"`

	Reconciliation *reconciliationRecord `json:"reconciliation,omitempty"`
}

type protocolRecord struct {
	Identifier string `json:"identifier"`
	Title      string `json:"title"`
	Declared   bool   `json:"declared"`
	Reason     string `json:"reason"`
}

type resultRecord struct {
	Rule          string           `json:"rule"`
	Version       string           `json:"version"`
	Kind          string           `json:"kind"`
	Outcome       string           `json:"outcome"`
	Severity      string           `json:"severity"`
	Title         string           `json:"title"`
	Message       string           `json:"message"`
	Usage         string           `json:"usage,omitempty"`
	Source        string           `json:"source,omitempty"`
	Measurands    []string         `json:"measurands"`
	Missing       []string         `json:"missing"`
	MissingDetail []missingRecord  `json:"missingDetail,omitempty"`
	Evidence      []evidenceRecord `json:"evidence"`
	Obtain        *obtainRecord    `json:"obtain,omitempty"`
	Cause         string           `json:"cause,omitempty"`
	Causes        []causeRecord    `json:"causes,omitempty"`
	Suspect       string           `json:"suspect,omitempty"`
	Variant       string           `json:"variant,omitempty"`
}

type missingRecord struct {
	Measurand string `json:"measurand"`
	Title     string `json:"title"`
	Reason    string `json:"reason"`
}

type obtainRecord struct {
	Window string `json:"window"`
	View   string `json:"view,omitempty"`
	How    string `json:"how,omitempty"`
}

type causeRecord struct {
	Identifier string `json:"identifier"`
	Text       string `json:"text"`
	Measurand  string `json:"measurand,omitempty"`
}

// evidenceRecord is one value or statement a result relies on.
type evidenceRecord struct {
	Measurand      string    `json:"measurand,omitempty"`
	Value          *float64  `json:"value"`
	ValueText      string    `json:"valueText,omitempty"`
	Unit           string    `json:"unit"`
	CanonicalValue canonical `json:"canonicalValue,omitzero"`
	CanonicalUnit  string    `json:"canonicalUnit,omitempty"`
	Statement      string    `json:"statement,omitempty"`
	Negated        bool      `json:"negated,omitempty"`
	Segment        string    `json:"segment,omitempty"`
	Quote          string    `json:"quote,omitempty"`
	Image          int       `json:"image,omitempty"`
	Note           string    `json:"note,omitempty"`
	SOPInstanceUID string    `json:"sopInstanceUID"`
	Item           string    `json:"item"`
}

func newRunRecord(a *run.Audit) runRecord {
	return runRecord{
		SchemaVersion: SchemaVersion, Caution: Caution, SoftwareVersion: a.SoftwareVersion,
		Created: a.Created.UTC().Format(time.RFC3339),
		RuleSet: ruleSetRecord{a.RuleSet.Version, a.RuleSet.Digest, a.RuleSet.Rules, a.RuleSet.Edition},
	}
}

func objectRecords(objects []run.Object) []objectRecord {
	out := make([]objectRecord, 0, len(objects))
	for _, o := range objects {
		out = append(out, objectRecord{o.Path, o.SHA256, o.SOPInstanceUID, o.SOPClassUID, string(o.State), o.Reason, o.Hint})
	}
	return out
}

func newStudyRecord(a *run.Audit, s *run.Study) studyRecord {
	r := studyRecord{
		StudyInstanceUID: s.StudyInstanceUID, Objects: objectRecords(s.Objects),
		Triggered: []protocolRecord{}, Outcomes: map[string]int{}, Results: []resultRecord{},
	}
	if s.Study == nil {
		return r
	}
	r.StudyDate, r.Measurements = s.Study.StudyDate, len(s.Study.Measurements)
	r.Images = s.Images()
	base := protocolRecord(s.Protocols.Base)
	r.Protocol = &base
	for _, p := range s.Protocols.Triggered {
		r.Triggered = append(r.Triggered, protocolRecord(p))
	}
	r.Reconciliation = newReconciliationRecord(s.Reconciliation)
	who := newWithholder(s.Study.Identity)
	for i := range s.Results {
		r.Outcomes[string(s.Results[i].Outcome)]++
		r.Results = append(r.Results, newResultRecord(a, who, &s.Results[i]))
	}
	return r
}

func newResultRecord(a *run.Audit, who *withholder, f *finding.Result) resultRecord {
	r := resultRecord{
		Rule: f.Rule, Version: f.Version, Kind: string(f.Kind), Outcome: string(f.Outcome), Severity: string(f.Severity),
		Title: f.Title, Message: who.from(f.Message), Usage: f.Usage, Source: f.Source,
		Measurands: append([]string{}, f.Measurands...), Missing: []string{}, Evidence: []evidenceRecord{}, Suspect: f.Suspect, Variant: f.Variant,
	}
	for _, m := range f.Missing {
		r.Missing = append(r.Missing, m.Measurand)
		r.MissingDetail = append(r.MissingDetail, missingRecord{m.Measurand, m.Title, m.Reason})
	}
	if f.Obtain != nil {
		r.Obtain = &obtainRecord{f.Obtain.Window, f.Obtain.View, f.Obtain.How}
	}
	for i, c := range f.Causes {
		if i == 0 {
			r.Cause = c.Identifier
		}
		r.Causes = append(r.Causes, causeRecord(c))
	}
	for _, e := range f.Evidence {
		r.Evidence = append(r.Evidence, newEvidenceRecord(a, who, e))
	}
	return r
}

func newEvidenceRecord(a *run.Audit, who *withholder, e finding.Evidence) evidenceRecord {
	if m := e.Measurement; m != nil {
		full := newMeasurementRecord("", m, a.Measurands)
		return evidenceRecord{
			Measurand: m.Measurand, Value: full.Value, ValueText: m.ValueText, Unit: m.Unit.CodeValue,
			CanonicalValue: full.CanonicalValue, CanonicalUnit: full.CanonicalUnit,
			Note: e.Note, SOPInstanceUID: m.Source.SOPInstanceUID, Item: m.Source.Item,
		}
	}
	if t := e.Statement; t != nil {
		return evidenceRecord{
			Statement: t.Identifier, Negated: t.Negated, Quote: who.from(t.Quote),
			Note: e.Note, SOPInstanceUID: t.Source.SOPInstanceUID, Item: t.Source.Item,
		}
	}
	if s := e.Segment; s != nil {
		return evidenceRecord{
			Segment: s.Site.Key().String(), Quote: who.from(segmentText(s)),
			Note: e.Note, SOPInstanceUID: s.Source.SOPInstanceUID, Item: s.Source.Item,
		}
	}
	if i := e.Image; i != nil {
		return evidenceRecord{Image: i.Number, Note: e.Note, SOPInstanceUID: i.SOPInstanceUID}
	}
	return evidenceRecord{Note: e.Note}
}
