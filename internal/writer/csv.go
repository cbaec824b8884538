package writer

import (
	"encoding/csv"
	"io"
	"strconv"
	"strings"

	"echotally/internal/run"
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
		"message", "missing", "evidence", "window", "view", "how", "cause", "suspect", "source",
	}
)

// guard keeps a spreadsheet from taking a cell for a formula: a cell that
// begins with one of its signs gets an apostrophe, unless it is a number.
func guard(cell string) string {
	if cell == "" || !strings.ContainsRune("=+-@\t\r\n", rune(cell[0])) {
		return cell
	}
	if _, err := strconv.ParseFloat(cell, 64); err == nil && !strings.ContainsAny(cell, "nNxX") {
		return cell
	}
	return "'" + cell
}

func writeRow(w *csv.Writer, cells ...string) error {
	for i, c := range cells {
		cells[i] = guard(c)
	}
	return w.Write(cells)
}

func measurementsCSV(w io.Writer, a *run.Audit) error {
	out := csv.NewWriter(w)
	if err := writeRow(out, append([]string{}, measurementColumns...)...); err != nil {
		return err
	}
	err := eachMeasurement(a, func(r measurementRecord) error {
		var problems []string
		for _, p := range r.Problems {
			problems = append(problems, p.Kind)
		}
		return writeRow(out, r.StudyInstanceUID, r.SOPInstanceUID, r.Item,
			r.ConceptName.CodeValue, r.ConceptName.CodingSchemeDesignator, r.ConceptName.CodeMeaning,
			decimal(r.Value), r.ValueText, r.Unit, cell(r.Qualifier), cell(r.FindingSite), cell(r.ImageMode), cell(r.ImageView),
			cell(r.FlowDirection), cell(r.MeasurementMethod), cell(r.CardiacCyclePoint), cell(r.RespiratoryCyclePoint),
			cell(r.Derivation), cell(r.SelectionStatus), r.Measurand, decimal(r.CanonicalValue.value), r.CanonicalUnit,
			strconv.FormatBool(r.Nested), r.Role, r.ShortLabel, r.Section, strings.Join(problems, " "))
	})
	out.Flush()
	if err != nil {
		return err
	}
	return out.Error()
}

func checkCSV(w io.Writer, a *run.Audit) error {
	out := csv.NewWriter(w)
	if err := writeRow(out, append([]string{}, checkColumns...)...); err != nil {
		return err
	}
	for i := range a.Studies {
		s := newStudyRecord(a, &a.Studies[i])
		for _, r := range s.Results {
			var evidence []string
			for _, e := range r.Evidence {
				what := e.Measurand + e.Statement + e.Segment
				evidence = append(evidence, strings.TrimSpace(what+" "+e.ValueText+" "+e.Unit)+" @ "+e.SOPInstanceUID+" "+e.Item)
			}
			obtain := obtainRecord{}
			if r.Obtain != nil {
				obtain = *r.Obtain
			}
			if err := writeRow(out, s.StudyInstanceUID, s.StudyDate, s.Protocol.Identifier, r.Rule, r.Version, r.Kind, r.Outcome,
				r.Severity, r.Title, r.Message, strings.Join(r.Missing, "; "), strings.Join(evidence, "; "),
				obtain.Window, obtain.View, obtain.How, r.Cause, r.Suspect, r.Source); err != nil {
				return err
			}
		}
		if err := objectRows(out, s.StudyInstanceUID, a.Studies[i].Objects); err != nil {
			return err
		}
	}
	if err := objectRows(out, "", a.Unread); err != nil {
		return err
	}
	out.Flush()
	return out.Error()
}

// objectRows writes a row of kind "object" for every file that was not read
// whole: the outcome is its state.
func objectRows(out *csv.Writer, study string, objects []run.Object) error {
	for _, o := range objects {
		if o.State == run.Read {
			continue
		}
		row := make([]string, len(checkColumns))
		row[0], row[5], row[6], row[8], row[9] = study, "object", string(o.State), o.Path, o.Reason
		if err := writeRow(out, row...); err != nil {
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
