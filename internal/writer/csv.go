package writer

import (
	"bytes"
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"echotally/internal/echo"
	"echotally/internal/finding"
	"echotally/internal/layout"
	"echotally/internal/run"
	"echotally/internal/writer/withhold"
)

// measurementColumns and checkColumns are contracts like the JSON fields:
// columns may be added at the end, never moved or renamed.
var (
	measurementColumns = []string{
		"studyInstanceUID", "sopInstanceUID", "item", "codeValue", "codingSchemeDesignator", "codeMeaning",
		"value", "valueText", "unit", "qualifier", "findingSite", "imageMode", "imageView", "flowDirection",
		"measurementMethod", "cardiacCyclePoint", "respiratoryCyclePoint", "derivation", "selectionStatus",
		"measurand", "canonicalValue", "canonicalUnit", "nested", "role", "shortLabel", "section", "problems",
	}
	checkColumns = []string{
		"studyInstanceUID", "studyDate", "protocol", "rule", "version", "kind", "outcome", "severity", "title",
		"message", "missing", "evidence", "window", "view", "how", "cause", "suspect", "source", "edition",
	}
)

type measurementsCSV struct{ run *run.Run }

func (f measurementsCSV) begin(w io.Writer, _ *line) error {
	return rows(w, func(out *csv.Writer) error { return layout.Row(out, measurementColumns...) })
}
func (measurementsCSV) between() string { return "" }

func (f measurementsCSV) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	return nil, rows(w, func(out *csv.Writer) error {
		return eachMeasurement(f.run, s, func(m measurementRecord) error { return measurementRow(out, m) })
	})
}

func (f measurementsCSV) end(io.Writer, []line) error { return nil }

// rows writes rows and flushes them.
func rows(w io.Writer, write func(*csv.Writer) error) error {
	out := csv.NewWriter(w)
	err := write(out)
	out.Flush()
	if err != nil {
		return err
	}
	return out.Error()
}

func measurementRow(out *csv.Writer, r measurementRecord) error {
	var problems []string
	for _, p := range r.Problems {
		problems = append(problems, p.Kind)
	}
	return layout.Row(out, r.StudyInstanceUID, r.SOPInstanceUID, r.Item,
		r.ConceptName.CodeValue, r.ConceptName.CodingSchemeDesignator, r.ConceptName.CodeMeaning,
		decimal(r.Value), r.ValueText, r.Unit, cell(r.Qualifier), cell(r.FindingSite), cell(r.ImageMode), cell(r.ImageView),
		cell(r.FlowDirection), cell(r.MeasurementMethod), cell(r.CardiacCyclePoint), cell(r.RespiratoryCyclePoint),
		cell(r.Derivation), cell(r.SelectionStatus), r.Measurand, decimal(r.CanonicalValue.value), r.CanonicalUnit,
		strconv.FormatBool(r.Nested), r.Role, r.ShortLabel, r.Section, strings.Join(problems, " "))
}

type checkCSV struct{ run *run.Run }

func (f checkCSV) begin(w io.Writer, _ *line) error {
	return rows(w, func(out *csv.Writer) error { return layout.Row(out, checkColumns...) })
}
func (checkCSV) between() string { return "" }

func (f checkCSV) leaf(w *bytes.Buffer, s *run.Study) (*line, error) {
	return nil, rows(w, func(out *csv.Writer) error {
		if s.Judgement != nil {
			who := withhold.New(s.Study.Identity)
			results := s.Judgement.All()
			for i := range results {
				if err := resultRow(out, s, &results[i], who, f.run.RuleSet.Edition); err != nil {
					return err
				}
			}
		}
		if s.Failed != "" {
			row := make([]string, len(checkColumns))
			row[0], row[5], row[6], row[9] = s.StudyInstanceUID, "study", "failed", s.Failed
			row[len(row)-1] = f.run.RuleSet.Edition
			if err := layout.Row(out, row...); err != nil {
				return err
			}
		}
		return objectRows(out, s.StudyInstanceUID, s.Objects, f.run.RuleSet.Edition)
	})
}

func resultRow(out *csv.Writer, s *run.Study, r *finding.Result, who *withhold.Withholder, edition string) error {
	var evidence, missing []string
	for _, e := range r.Evidence {
		evidence = append(evidence, reliedOn(e))
	}
	for _, m := range r.Missing {
		missing = append(missing, m.Measurand)
	}
	obtain, cause := finding.Obtain{}, ""
	if r.Obtain != nil {
		obtain = *r.Obtain
	}
	if len(r.Causes) > 0 {
		cause = r.Causes[0].Identifier
	}
	return layout.Row(out, s.StudyInstanceUID, s.Study.StudyDate, s.Judgement.Protocols.Base.Identifier, r.Rule, r.Version, string(r.Kind), string(r.Outcome),
		string(r.Severity), r.Title, who.From(r.Message), strings.Join(missing, "; "), strings.Join(evidence, "; "),
		obtain.Window, obtain.View, obtain.How, cause, r.Suspect, r.Source, edition)
}

// reliedOn is a piece of evidence in one cell: what, as written, where.
func reliedOn(e finding.Evidence) string {
	what, source := "", echo.Source{}
	switch {
	case e.Measurement != nil:
		m := e.Measurement
		what, source = strings.TrimSpace(m.Measurand+" "+m.ValueText+" "+m.Unit.CodeValue), m.Source
	case e.Statement != nil:
		what, source = e.Statement.Identifier, e.Statement.Source
	case e.Segment != nil:
		what, source = e.Segment.Site.Key().String(), e.Segment.Source
	case e.Image != nil:
		source.SOPInstanceUID = e.Image.SOPInstanceUID
	}
	return what + " @ " + source.SOPInstanceUID + " " + source.Item
}

func (f checkCSV) end(w io.Writer, _ []line) error {
	return rows(w, func(out *csv.Writer) error { return objectRows(out, "", f.run.Unread, f.run.RuleSet.Edition) })
}

// objectRows writes a row of kind "object" for every file that was not read
// whole: the outcome is its state.
func objectRows(out *csv.Writer, study string, objects []run.Object, edition string) error {
	for _, o := range objects {
		if o.State == run.Read {
			continue
		}
		row := make([]string, len(checkColumns))
		row[0], row[5], row[6], row[8], row[9] = study, "object", string(o.State), o.Path, o.Reason
		row[len(row)-1] = edition
		if err := layout.Row(out, row...); err != nil {
			return err
		}
	}
	return nil
}

func decimal(f *float64) string {
	if f == nil {
		return ""
	}
	return strconv.FormatFloat(*f, 'g', -1, 64)
}

// cell writes a code as "meaning (scheme:value)".
func cell(c *code) string {
	if c == nil {
		return ""
	}
	return c.CodeMeaning + " (" + c.CodingSchemeDesignator + ":" + c.CodeValue + ")"
}
