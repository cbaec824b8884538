package writer

import (
	"bytes"
	"io"

	"echotally/internal/layout"
	"echotally/internal/run"
)

// A JSON document is written as it is made: what is known of the run first, then
// the studies, one on each line.

type readStudyRecord struct {
	StudyInstanceUID string              `json:"studyInstanceUID"`
	StudyDate        string              `json:"studyDate"`
	Failed           string              `json:"failed,omitempty"`
	Objects          []objectRecord      `json:"objects"`
	Measurements     []measurementRecord `json:"measurements"`
	Segments         []segmentRecord     `json:"segments,omitempty"`
}

// beginJSON writes the record of the run as the open beginning of an object.
func beginJSON(w io.Writer, head any) error {
	var b bytes.Buffer
	if err := layout.Encode(&b, false, head); err != nil {
		return err
	}
	_, err := w.Write(append(bytes.TrimSuffix(b.Bytes(), []byte("}\n")), ",\n\"studies\":[\n"...))
	return err
}

// leafJSON writes the record of a study without a newline, for the comma that
// may follow.
func leafJSON(w *bytes.Buffer, record any) error {
	err := layout.Encode(w, false, record)
	if n := w.Len(); err == nil && n > 0 {
		w.Truncate(n - 1)
	}
	return err
}

func endJSON(w io.Writer) error {
	_, err := io.WriteString(w, "\n]}\n")
	return err
}

type measurementsJSON struct{ run *run.Run }

func (f measurementsJSON) begin(w io.Writer, _ *line) error {
	return beginJSON(w, newRunRecord(f.run))
}
func (measurementsJSON) between() string { return ",\n" }

func (f measurementsJSON) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	out := readStudyRecord{StudyInstanceUID: s.StudyInstanceUID, Failed: s.Failed, Objects: objectRecords(s.Objects), Measurements: []measurementRecord{}}
	if s.Study != nil {
		out.StudyDate = s.Study.StudyDate
		for i := range s.Study.Measurements {
			out.Measurements = append(out.Measurements, newMeasurementRecord(s.StudyInstanceUID, &s.Study.Measurements[i], f.run.Measurands))
		}
		out.Segments = segmentRecords(s.Study)
	}
	return nil, leafJSON(w, out)
}

func (f measurementsJSON) end(w io.Writer, _ []line) error { return endJSON(w) }

// measurementsNDJSON is one line per NUM item in document order.
type measurementsNDJSON struct{ run *run.Run }

func (f measurementsNDJSON) begin(io.Writer, *line) error { return nil }
func (measurementsNDJSON) between() string                { return "" }

func (f measurementsNDJSON) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	return nil, eachMeasurement(f.run, s, func(m measurementRecord) error {
		m.SchemaVersion = SchemaVersion
		return layout.Encode(w, false, m)
	})
}

func (f measurementsNDJSON) end(io.Writer, []line) error { return nil }

type checkJSON struct{ run *run.Run }

func (f checkJSON) begin(w io.Writer, _ *line) error { return beginJSON(w, newCheckRecord(f.run)) }
func (checkJSON) between() string                    { return ",\n" }

func (f checkJSON) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	return nil, leafJSON(w, newStudyRecord(s))
}

func (f checkJSON) end(w io.Writer, _ []line) error { return endJSON(w) }

// checkNDJSON is a line about the run, with the rules and the files that belong
// to no study, then one line per study.
type checkNDJSON struct{ run *run.Run }

func (f checkNDJSON) begin(w io.Writer, _ *line) error {
	return layout.Encode(w, false, struct {
		Record string `json:"record"`
		checkRecord
	}{"run", newCheckRecord(f.run)})
}
func (checkNDJSON) between() string { return "" }

func (f checkNDJSON) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	return nil, layout.Encode(w, false, struct {
		Record string `json:"record"`
		studyRecord
	}{"study", newStudyRecord(s)})
}

func (f checkNDJSON) end(io.Writer, []line) error { return nil }
