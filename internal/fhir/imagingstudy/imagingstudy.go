// Package imagingstudy owns one study as resources of FHIR: what was measured, what was found of
// the record, and which demands it met. It judges nothing: it is given the judgement.
package imagingstudy

import (
	"encoding/json"
	"strconv"
	"strings"
	"time"

	"echotally/internal/coding"
	"echotally/internal/echo"
	"echotally/internal/fhir/resource"
	"echotally/internal/finding"
	"echotally/internal/judgement"
	"echotally/internal/measurand"
)

// Waiver is a reason the lab gave for something not measured.
type Waiver struct {
	Rule, Reason, Meaning string
	At                    string // RFC 3339
	Excepts               bool   // the study leaves the denominator
}

// Judged is a study with what was found of it.
type Judged struct {
	Study      *echo.Study
	Judgement  *judgement.Judgement
	Measurands *measurand.Catalogue
	Waivers    []Waiver // that hold
	Created    time.Time
}

// bundle is a study being written.
type bundle struct {
	Judged
	uid                   string
	patient, study, ruler string                 // identifiers
	places                map[echo.Source]string // identifiers of observations
	devices               map[echo.Equipment]string
	out                   *resource.Bundle
}

// Bundle gives what was measured in a study, what was found of its record, and which
// demands it met.
func Bundle(j Judged) *resource.Bundle {
	uid := j.Judgement.StudyInstanceUID
	b := &bundle{Judged: j, uid: uid, patient: resource.ID("patient", uid), study: resource.ID("study", uid), ruler: resource.ID("ruler", j.Judgement.SoftwareVersion),
		places: map[echo.Source]string{}, devices: map[echo.Equipment]string{}}
	b.out = &resource.Bundle{ResourceType: "Bundle", ID: resource.ID("bundle", uid), Meta: resource.Cautioned(), Type: "collection", Timestamp: resource.Stamp(j.Created)}
	b.add(b.patient, &resource.Patient{ResourceType: "Patient", ID: b.patient, Meta: resource.Cautioned(), Gender: genders[j.Study.Subject.PatientSex]})
	b.add(b.study, &resource.ImagingStudy{
		ResourceType: "ImagingStudy", ID: b.study, Meta: resource.Cautioned(), Identifier: []resource.Identifier{{System: resource.DICOMUID, Value: "urn:oid:" + uid}}, Status: "available",
		Subject: resource.To(b.patient), Started: day(j.Study.StudyDate),
	})
	b.add(b.ruler, &resource.Device{ResourceType: "Device", ID: b.ruler, Meta: resource.Cautioned(), Manufacturer: "echotally", ModelNumber: "echotally", Version: versions(j.Judgement.SoftwareVersion)})
	b.measurements()
	b.absences()
	b.issues()
	b.demands()
	return b.out
}

func (b *bundle) add(id string, content any) {
	b.out.Entry = append(b.out.Entry, resource.EntryOf(id, content))
}

var genders = map[string]string{"M": "male", "F": "female", "O": "other"}

func versions(text string) []resource.DeviceVersion {
	if resource.Words(text) == "" {
		return nil
	}
	return []resource.DeviceVersion{{Value: resource.Words(text)}}
}

// day writes a DICOM date as FHIR does, "" for what is none.
func day(da string) string {
	t, err := time.Parse("20060102", strings.TrimSpace(da))
	if err != nil {
		return ""
	}
	return t.Format(time.DateOnly)
}

// device gives the identifier of a scanner, written once.
func (b *bundle) device(e echo.Equipment) *resource.Reference {
	if resource.Words(e.Manufacturer+e.ManufacturerModelName) == "" {
		return nil
	}
	if b.devices[e] == "" {
		id := resource.ID("device", e.Manufacturer, e.ManufacturerModelName, e.SoftwareVersions, e.StationName)
		b.devices[e] = id
		b.add(id, &resource.Device{ResourceType: "Device", ID: id, Meta: resource.Cautioned(), Manufacturer: resource.Words(e.Manufacturer), ModelNumber: resource.Words(e.ManufacturerModelName), Version: versions(e.SoftwareVersions)})
	}
	return resource.To(b.devices[e])
}

// measurements writes an observation for each result that counts.
func (b *bundle) measurements() {
	verified := map[string]bool{}
	for _, d := range b.Study.Documents {
		verified[d.SOPInstanceUID] = d.VerificationFlag == "VERIFIED"
	}
	for i := range b.Study.Measurements {
		m := &b.Study.Measurements[i]
		if m.Role != echo.Result || m.Superseded || m.DuplicateOf != nil {
			continue
		}
		id := resource.ID("observation", b.uid, m.Source.SOPInstanceUID, m.Source.Item)
		b.places[m.Source] = id
		o := b.observation(id, b.codeOf(m))
		if verified[m.Source.SOPInstanceUID] {
			o.Status = "final"
		}
		if !m.ObservationDateTime.IsZero() {
			o.EffectiveDateTime = m.ObservationDateTime.Format(time.RFC3339)
		}
		o.BodySite, o.Method, o.Device = conceptOf(m.Modifiers.FindingSite), conceptOf(m.Modifiers.MeasurementMethod), b.device(m.Equipment)
		if o.ValueQuantity = valueOf(m); o.ValueQuantity == nil {
			o.DataAbsentReason = resource.Concept(resource.Absences, qualified(m.Qualifier), "")
		}
		b.add(id, o)
	}
}

func (b *bundle) observation(id string, code *resource.CodeableConcept) *resource.Observation {
	return &resource.Observation{
		ResourceType: "Observation", ID: id, Meta: resource.Cautioned(), Status: "preliminary", Category: []resource.CodeableConcept{*resource.Concept(resource.Categories, "imaging", "Imaging")},
		Code: code, Subject: resource.To(b.patient), EffectiveDateTime: day(b.Study.StudyDate), DerivedFrom: []resource.Reference{*resource.To(b.study)},
	}
}

// codeOf names a measurement by the code it was written with and by the measurand.
func (b *bundle) codeOf(m *echo.Measurement) *resource.CodeableConcept {
	out := &resource.CodeableConcept{Text: resource.Words(m.ConceptName.CodeMeaning)}
	if c, known := codingOf(m.ConceptName); known {
		out.Coding = append(out.Coding, c)
	}
	if named := b.Measurands.Find(m.Measurand); named != nil {
		out.Coding, out.Text = append(out.Coding, resource.Coding{System: resource.MeasurandSystem, Code: named.Identifier, Display: named.Title}), named.Title
	}
	if out.Text == "" && len(out.Coding) == 0 {
		out.Text = "unnamed"
	}
	return out
}

// codingOf writes a code of a system that FHIR has a name for; others are said in words
// only, for a private code means nothing without its maker.
func codingOf(c coding.CodedConcept) (resource.Coding, bool) {
	key := c.Key()
	system, known := resource.Systems[key.CodingSchemeDesignator]
	return resource.Coding{System: system, Code: key.CodeValue, Display: resource.Words(c.CodeMeaning)}, known && key.CodeValue != ""
}

func conceptOf(m *echo.Modifier) *resource.CodeableConcept {
	if m == nil {
		return nil
	}
	out := &resource.CodeableConcept{Text: resource.Words(m.Concept.CodeMeaning)}
	if c, known := codingOf(m.Concept); known {
		out.Coding = []resource.Coding{c}
	}
	if out.Text == "" && out.Coding == nil {
		return nil
	}
	return out
}

// valueOf is the value as it was read, nil for none. Without a unit that is understood
// the number stands with the words of the report for it.
func valueOf(m *echo.Measurement) *resource.Quantity {
	if q := m.Quantity; q != nil {
		number := json.Number(q.Value.Text())
		if !json.Valid([]byte(number)) {
			number = json.Number(strconv.FormatFloat(q.Value.Float(), 'g', -1, 64)) // the text had a sign or spaces
		}
		return &resource.Quantity{Value: number, Unit: q.Unit.Code(), System: resource.Units, Code: q.Unit.Code()}
	}
	if number := resource.Words(m.ValueText); number != "" && json.Valid([]byte(number)) && strings.Trim(number, "+-0123456789.eE") == "" {
		return &resource.Quantity{Value: json.Number(number), Unit: resource.Words(m.Unit.CodeMeaning)}
	}
	return nil
}

// qualified is why a number is missing, by its Numeric Value Qualifier (PS3.16 CID 42).
func qualified(c *coding.CodedConcept) string {
	if c == nil {
		return "unknown"
	}
	switch c.Key().CodeValue {
	case "114000":
		return "not-a-number"
	case "114001":
		return "negative-infinity"
	case "114002":
		return "positive-infinity"
	case "114003", "114004", "114005", "114006", "114008", "114009":
		return "error"
	case "114007":
		return "not-performed"
	}
	return "unknown"
}

// reasons say in FHIR's codes why something was not measured, by the codes of waivers.
var reasons = map[string]string{
	"no-signal": "error", "poor-window": "error", "not-seen": "not-performed", "declined": "asked-declined", "too-ill": "not-performed", "set-aside": "error",
	"rhythm": "not-applicable", "anatomy": "not-applicable", "out-of-scope": "not-applicable", "no-time": "not-performed", "no-equipment": "unsupported",
	"untrained": "not-performed", "recent": "not-performed", "elsewhere": "unknown", "no-reason": "unknown",
}

// absences writes an observation for each measurand that a waiver is about and that the
// study lacks.
func (b *bundle) absences() {
	has := map[string]bool{}
	for i := range b.Study.Measurements {
		has[b.Study.Measurements[i].Measurand] = true
	}
	for _, w := range b.Waivers {
		r := b.result(w.Rule)
		if r == nil || r.Outcome != finding.Fail && r.Outcome != finding.Excused {
			continue
		}
		for _, measurand := range r.Measurands {
			named := b.Measurands.Find(measurand)
			if named == nil || has[measurand] {
				continue
			}
			has[measurand] = true
			id := resource.ID("absent", b.uid, measurand)
			o := b.observation(id, &resource.CodeableConcept{Coding: []resource.Coding{{System: resource.MeasurandSystem, Code: named.Identifier, Display: named.Title}}, Text: named.Title})
			o.DataAbsentReason = &resource.CodeableConcept{Coding: []resource.Coding{{System: resource.Absences, Code: reasons[w.Reason]}, {System: resource.WaiverSystem, Code: w.Reason}}, Text: w.Meaning}
			if reasons[w.Reason] == "" {
				o.DataAbsentReason.Coding[0].Code = "unknown"
			}
			b.add(id, o)
		}
	}
}

func (b *bundle) result(rule string) *finding.Result {
	for i := range b.Judgement.Results {
		if b.Judgement.Results[i].Rule == rule {
			return &b.Judgement.Results[i]
		}
	}
	return nil
}

// severities in FHIR's words.
var severities = map[finding.Severity]string{finding.Error: "high", finding.Warning: "moderate", finding.Information: "low"}

// issues writes one for each finding: a rule that failed, or that a person must look at.
// What cannot be told is none.
func (b *bundle) issues() {
	for i := range b.Judgement.Results {
		r := &b.Judgement.Results[i]
		if r.Outcome != finding.Fail && r.Outcome != finding.Review || r.PerLab {
			continue
		}
		id := resource.ID("issue", b.uid, r.Rule)
		d := &resource.DetectedIssue{
			ResourceType: "DetectedIssue", ID: id, Meta: resource.Cautioned(), Status: "preliminary", Severity: severities[r.Severity], Patient: resource.To(b.patient),
			Code:               &resource.CodeableConcept{Coding: []resource.Coding{{System: resource.RuleSystem, Version: r.Version, Code: r.Rule, Display: resource.Words(r.Title)}}, Text: resource.Words(r.Title)},
			IdentifiedDateTime: resource.Stamp(b.Created), Author: resource.To(b.ruler), Implicated: []resource.Reference{*resource.To(b.study)}, Detail: resource.Words(r.Message),
		}
		var rests []resource.Reference
		said := map[string]bool{}
		for _, e := range r.Evidence {
			if e.Measurement == nil || e.Reference.Earlier {
				continue
			}
			if at := b.places[e.Measurement.Source]; at != "" && !said[at] {
				said[at], rests = true, append(rests, *resource.To(at))
			}
		}
		if rests != nil {
			d.Evidence = []resource.Evidence{{Detail: rests}}
			d.Implicated = append(d.Implicated, rests...)
		}
		for _, w := range b.Waivers {
			if w.Rule == r.Rule {
				d.Mitigation = append(d.Mitigation, resource.Mitigation{
					Action: &resource.CodeableConcept{Coding: []resource.Coding{{System: resource.WaiverSystem, Code: w.Reason}}, Text: w.Meaning}, Date: w.At,
				})
			}
		}
		b.add(id, d)
	}
}

// demands writes an individual report for each completeness rule that applies.
func (b *bundle) demands() {
	version := b.Judgement.Library.Version
	for i := range b.Judgement.Results {
		r := &b.Judgement.Results[i]
		if r.Kind != finding.Completeness || r.PerLab {
			continue
		}
		s := resource.Counts{Initial: 1, Denominator: 1}
		switch r.Outcome {
		case finding.Pass:
			s.Numerator = 1
		case finding.Open, finding.Review:
			s.Exclusion = 1
		case finding.Excused:
			s.Exception = 1
		case finding.Fail:
			s.Exception = b.excepted(r.Rule)
		}
		id := resource.ID("individual", b.uid, r.Rule)
		on := day(b.Study.StudyDate)
		if on == "" {
			continue // a report has to have a period
		}
		b.add(id, &resource.MeasureReport{
			ResourceType: "MeasureReport", ID: id, Meta: resource.Cautioned(), Status: "complete", Type: "individual", Measure: resource.Canonical("rule:"+r.Rule, version), Subject: resource.To(b.patient),
			Date: resource.Stamp(b.Created), Period: resource.Period{Start: on, End: on}, ImprovementNotation: resource.Improves(), Group: []resource.ReportGroup{s.Group()},
		})
	}
}

// excepted tells whether a waiver takes the study out of the denominator; one that says
// that it counts as missing does not.
func (b *bundle) excepted(rule string) int {
	for _, w := range b.Waivers {
		if w.Rule == rule && w.Excepts {
			return 1
		}
	}
	return 0
}
