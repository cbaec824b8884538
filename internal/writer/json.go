package writer

import (
	"encoding/json"
	"io"

	"echotally/internal/run"
)

// readRecord is the whole measurement list. Schema file:
// schema/read.schema.json.
type readRecord struct {
	runRecord
	Studies []readStudyRecord `json:"studies"`
	Unread  []objectRecord    `json:"unread"`
}

type readStudyRecord struct {
	StudyInstanceUID string              `json:"studyInstanceUID"`
	StudyDate        string              `json:"studyDate"`
	Objects          []objectRecord      `json:"objects"`
	Measurements     []measurementRecord `json:"measurements"`
	Segments         []segmentRecord     `json:"segments,omitempty"`
}

// encode writes one JSON value and a newline. Characters stay as they are:
// the documents are not pasted into HTML.
func encode(w io.Writer, indent bool, v any) error {
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	if indent {
		e.SetIndent("", "  ")
	}
	return e.Encode(v)
}

func measurementsJSON(w io.Writer, a *run.Audit) error {
	out := readRecord{runRecord: newRunRecord(a), Studies: []readStudyRecord{}, Unread: objectRecords(a.Unread)}
	for i := range a.Studies {
		s := &a.Studies[i]
		study := readStudyRecord{StudyInstanceUID: s.StudyInstanceUID, Objects: objectRecords(s.Objects), Measurements: []measurementRecord{}}
		if s.Study != nil {
			study.StudyDate = s.Study.StudyDate
			for j := range s.Study.Measurements {
				study.Measurements = append(study.Measurements, newMeasurementRecord(s.StudyInstanceUID, &s.Study.Measurements[j], a.Measurands))
			}
			study.Segments = segmentRecords(s.Study)
		}
		out.Studies = append(out.Studies, study)
	}
	return encode(w, true, out)
}

// measurementsNDJSON writes one line per NUM item in document order.
func measurementsNDJSON(w io.Writer, a *run.Audit) error {
	return eachMeasurement(a, func(r measurementRecord) error {
		r.SchemaVersion = SchemaVersion
		return encode(w, false, r)
	})
}

func checkJSON(w io.Writer, a *run.Audit) error {
	out := checkRecord{runRecord: newRunRecord(a), Studies: []studyRecord{}, Unread: objectRecords(a.Unread)}
	for i := range a.Studies {
		out.Studies = append(out.Studies, newStudyRecord(a, &a.Studies[i]))
	}
	return encode(w, true, out)
}

// checkNDJSON writes a line about the run with the unread objects, then one
// line per study, so that a long run can be read as a stream.
func checkNDJSON(w io.Writer, a *run.Audit) error {
	head := struct {
		Record string `json:"record"`
		runRecord
		Unread []objectRecord `json:"unread"`
	}{"run", newRunRecord(a), objectRecords(a.Unread)}
	if err := encode(w, false, head); err != nil {
		return err
	}
	for i := range a.Studies {
		line := struct {
			Record string `json:"record"`
			studyRecord
		}{"study", newStudyRecord(a, &a.Studies[i])}
		if err := encode(w, false, line); err != nil {
			return err
		}
	}
	return nil
}
